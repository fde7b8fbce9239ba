"""Corrupted reads back to the image: faults undone, reads voted over, the result proven."""
