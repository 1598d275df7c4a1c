"""What goes into the kiln: units, cards, tables, kilns, firings, vessels."""
