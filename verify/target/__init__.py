"""Where in a frame the card is: given, found again, or found by its shape."""
