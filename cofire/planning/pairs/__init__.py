"""Two materials that are to share one firing."""
