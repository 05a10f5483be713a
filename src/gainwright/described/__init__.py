"""One engine for the TOML files that people write: trials and machine descriptions.

Reads the file, says what is wrong with a value or a key and how to write it, and makes the JSON
Schema for editors from the same descriptions. What the keys are and mean is elsewhere.
"""
