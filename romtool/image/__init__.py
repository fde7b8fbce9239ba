"""Bytes to a model in which every byte has a place, and from there to the card."""
