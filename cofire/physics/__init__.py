"""One published equation a function: arrays in, arrays out, SI."""
