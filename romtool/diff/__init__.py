"""Two images compared with each other: first in the card's terms, then byte by byte."""
