"""Simulated axes, the rig that runs the exported C on them, and exact stability theory."""
