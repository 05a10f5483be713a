"""The simulated axis in Python: chain of masses, drive loop; the reference for the C rig."""
