"""ABC 2.1 in and out."""

from tercet.exchange.abc.reader import read_abc
from tercet.exchange.abc.writer import abc_bytes

__all__ = ["abc_bytes", "read_abc"]
