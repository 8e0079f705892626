"""Fitted offsets kept on disk: what each belongs to, and which one holds for a frame."""
