"""Fixed-point arithmetic, filters and gain tables, the same bit for bit as in the exported C."""
