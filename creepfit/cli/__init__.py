"""The command line."""

from creepfit.cli.commands import main

__all__ = ["main"]
