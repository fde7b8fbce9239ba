"""`python -m romtool` is the same as the installed command."""

from romtool.cli import main

if __name__ == "__main__":
    main()
