"""A shoot to something a person or a program reads: text, JSON, CSV."""
