"""Abstract interpretation of the exported C: ranges of every expression, read from the source."""
