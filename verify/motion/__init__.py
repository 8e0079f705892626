"""What flash duration, shutter and ambient light do to what moves."""
