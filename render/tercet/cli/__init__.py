"""The command line: ``tercet``."""

from tercet.cli.main import main

__all__ = ["main"]
