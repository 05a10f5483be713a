"""The C of one axis: what its drive and motor make of the stages of a trial."""
