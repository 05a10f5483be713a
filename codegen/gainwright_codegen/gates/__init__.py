"""Gates of a bundle: compilers, analysers, sanitizers, fuzzing, coverage; what is installed."""
