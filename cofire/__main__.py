"""Lets `python -m cofire` do what `cofire` does."""

from cofire.output.cli import run

run()
