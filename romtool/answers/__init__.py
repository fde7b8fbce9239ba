"""Answers as plain data, between the rooms that find them and the renderings that show them."""
