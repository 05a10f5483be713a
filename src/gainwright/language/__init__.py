"""The specification language: how a trial is written down, read and checked."""
