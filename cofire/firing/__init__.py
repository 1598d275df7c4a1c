"""Firings: what a person asks of a kiln, what kiln and ware do, and what a thermocouple saw."""
