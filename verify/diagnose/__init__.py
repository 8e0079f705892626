"""Why the exposure moves over a shoot: frames in the order of time to findings."""
