"""greyproof: did the frames get the light that the meter promised?"""

__version__ = "0.1.0"
