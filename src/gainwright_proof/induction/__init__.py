"""Proof by SMT: obligations over bit-vectors of the C widths, unbounded in time."""
