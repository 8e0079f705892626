"""A recorded light trace to the pulses in it: durations, energy, and what a shutter cuts of them."""
