"""Measurements of the rig and the detector: how fast, and how often they are wrong."""
