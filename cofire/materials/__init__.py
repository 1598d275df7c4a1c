"""Material cards: which numbers they carry, and the tables they are read from."""
