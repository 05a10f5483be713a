"""What a tuning trial is and means: specification, semantics, fixed point, detector, proof."""

__version__ = "0.2.0"
