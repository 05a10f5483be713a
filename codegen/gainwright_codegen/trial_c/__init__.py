"""The C of a trial: names, expressions, header and tables."""
