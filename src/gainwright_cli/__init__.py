"""The command line: the only room that sees all packages."""
