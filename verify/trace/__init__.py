"""A recorded light trace from a file: a table of numbers, or a sound recording."""
