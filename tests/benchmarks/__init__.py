"""Speed, on request."""
