"""What the printer and the kiln are given."""
