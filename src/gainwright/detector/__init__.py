"""The detector of oscillation: how its settings are found, and its integer reference."""
