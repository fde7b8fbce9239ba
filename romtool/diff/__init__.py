"""Two images held against each other: first in the card's terms, then byte by byte."""
