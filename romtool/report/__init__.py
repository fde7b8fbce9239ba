"""A page about an image: a model of plain data, and the template that shows it."""
