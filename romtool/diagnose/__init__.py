"""From what is seen at the bench to its causes: found, open, or ruled out."""
