"""Rehearsals: one trial on one machine with one seed, and what is kept of it."""
