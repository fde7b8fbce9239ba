"""The commands, one a module: arguments in, text or JSON out."""
