"""What measured pieces and logged firings say, and how sure a plan is."""
