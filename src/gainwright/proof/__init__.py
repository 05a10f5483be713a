"""Proof that a trial keeps its requirements: every state, every input, every tick."""
