"""Changes of the tables, each once, in order."""
