"""`python -m cyclesim` is the command `cyclesim`."""

from cyclesim.cli import main

if __name__ == "__main__":
    main()
