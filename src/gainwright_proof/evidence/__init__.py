"""Evidence: what was proved, by what, on which bytes, as files that can be checked again."""
