"""Proof of a trial and its C: exploration, induction, checks of the source, mutants, evidence."""
