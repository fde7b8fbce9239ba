"""Why a readback isn't what should be in the part: faults of the burn, and of the read."""
