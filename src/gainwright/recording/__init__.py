"""Recorded signals of a real axis: files to a uniform pair of per-unit channels."""
