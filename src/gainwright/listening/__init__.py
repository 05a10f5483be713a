"""The detector over a recorded signal: band, thresholds, onset, and what to say about it."""
