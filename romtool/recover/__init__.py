"""Spoilt reads back to the image: faults undone, reads voted over, and what proves the result."""
