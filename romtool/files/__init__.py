"""Files in and out: the only part of romtool that touches the disk."""
