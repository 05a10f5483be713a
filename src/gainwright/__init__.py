"""What a tuning trial is and means: specification, semantics, fixed point, detector, proof."""
