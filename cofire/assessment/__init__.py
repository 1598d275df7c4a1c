"""Rules held against a fired vessel or a pair of materials, and the verdict they make."""
