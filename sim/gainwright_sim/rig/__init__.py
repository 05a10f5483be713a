"""The rig: one C loop of plant, drive loop, exported detector and exported sequencer."""
