"""The schema of an unknown chip's layout, worked out from dumps: each claim with its evidence."""
