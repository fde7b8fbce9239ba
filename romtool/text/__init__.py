"""Reading TOML and telling where in it a fault is."""
