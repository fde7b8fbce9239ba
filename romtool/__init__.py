"""romtool: configuration images for self-configuring ISA audio controllers."""

__version__ = "0.2.0"
