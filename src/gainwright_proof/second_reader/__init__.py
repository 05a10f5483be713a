"""A second, independent reader of trial files, so that a mistake of the first is noticed.

One parser feeds every method of proof: had it dropped a name, all of them would prove the wrong
formula and agree. This reader has a grammar of its own for a parser library, trees, evaluation and
step of its own; it shares with the first only the TOML library. It believes that the file is valid.
"""

READERS_AGREE = "readers_agree"
"""Subject: do two independent readers understand the same by the file?"""
