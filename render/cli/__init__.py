"""The command line: ``tercet``."""

from render.cli.main import main

__all__ = ["main"]
