"""A pile of dumps: what each holds, and which belong together."""
