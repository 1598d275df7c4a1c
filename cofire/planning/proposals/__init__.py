"""Layers, firings and partners that would do better."""
