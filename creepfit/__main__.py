"""`python -m creepfit`, the same as the command `creepfit`."""

from creepfit.cli import main

if __name__ == "__main__":
    main()
