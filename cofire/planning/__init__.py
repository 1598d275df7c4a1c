"""Decisions: screening, flags, verdicts, proposals."""
