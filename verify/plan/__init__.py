"""The plan: what the meter showed, how the camera is set, and the signal to expect from that."""
