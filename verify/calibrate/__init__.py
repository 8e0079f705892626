"""Frames of a calibration set to the offset between a meter and a camera, and what to set."""
