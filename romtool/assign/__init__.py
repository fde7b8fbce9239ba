"""What PnP software can give cards in a PC: the best set, or why there is none."""
