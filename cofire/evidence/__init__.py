"""What test pieces and fired pots say: fits, uncertainty, replay and record."""
