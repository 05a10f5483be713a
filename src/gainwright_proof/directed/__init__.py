"""Runs of the compiled C that show what can happen, where a trial is too large to be explored."""
