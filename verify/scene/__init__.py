"""The light of a frame by what the whole picture shows, without a card."""
