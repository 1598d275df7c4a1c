"""One vessel fired: its stress, its flags, its verdict."""
