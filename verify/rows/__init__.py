"""The light of an even wall row by row: whether the shutter cut the flash, where, by how much."""
