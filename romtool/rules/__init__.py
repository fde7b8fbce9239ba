"""What is checked in an image, as data."""
