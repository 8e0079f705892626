"""A recorded light trace to the pulses in it: durations, energy, what a shutter cuts of them."""
