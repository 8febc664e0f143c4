"""Charts as plain Vega-Lite: one specification for the screen, for print and for a file."""
