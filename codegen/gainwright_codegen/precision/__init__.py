"""What fixed point costs one export: coefficients, signals, accumulators, limit cycles, detection.

:mod:`figures` computes, :mod:`compared` holds the exported detector against one in double
precision, :mod:`page` and :mod:`picture` tell.
"""
