"""Lets `python -m cofire` do what `cofire` does."""

from cofire.cli import run

run()
