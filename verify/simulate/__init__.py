"""Frames and shoots with a known truth, for the demo and the tests.

The code that measures never sees the truth, and nothing of it imports this package.
"""
