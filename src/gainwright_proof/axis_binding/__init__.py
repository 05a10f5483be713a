"""How sequencer, detector and test pulse are tied together: gw_axis against a model of its own."""
