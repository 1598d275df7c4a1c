"""Published equations, arrays in and arrays out, in SI units."""
