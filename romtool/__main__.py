"""The program, by the name `romtool` and as `python -m romtool`."""

from __future__ import annotations

import gc

SELDOM = 100_000
"""Objects that are made before Python looks for unused ones: a call makes fewer, and keeps most."""


def main() -> None:
    """Run the command line."""
    gc.set_threshold(SELDOM)
    from romtool.cli import main  # loads much

    main()


if __name__ == "__main__":
    main()
