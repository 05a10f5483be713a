"""A gain that follows the position of the axis, as fixed-point C beside an export."""
