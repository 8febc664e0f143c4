"""Time and price."""
