"""romtool: configuration images for self-configuring ISA audio controllers."""

__version__ = "0.3.1"
