"""Text, tables, figures and pages of what the library returned; computes nothing itself."""
