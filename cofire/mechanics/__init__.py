"""Stress through the firing: one law, one integrator, and the structures they serve."""
