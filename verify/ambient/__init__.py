"""The ambient light on the card, from a frame shot with the flash off."""
