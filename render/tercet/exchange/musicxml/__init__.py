"""MusicXML in and out."""

from tercet.exchange.musicxml.reader import read_musicxml
from tercet.exchange.musicxml.writer import musicxml_bytes

__all__ = ["musicxml_bytes", "read_musicxml"]
