"""TOML texts: parsed, and the place of each key and value in them."""
