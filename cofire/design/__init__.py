"""Proposals: layers, firings, partners, and the plan they make."""
