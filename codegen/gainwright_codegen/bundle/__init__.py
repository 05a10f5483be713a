"""The export of a trial: every file of the bundle, its self-test, its read-me and its stamp."""
