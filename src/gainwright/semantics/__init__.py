"""What a specification does: the reference that the exported C is compared with."""
