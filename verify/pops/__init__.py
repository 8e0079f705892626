"""Exposures built from several pops: how many fired, whether they add up, how many to plan."""
