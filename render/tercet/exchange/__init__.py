"""Other programs' files, in and out."""

from tercet.exchange.imported_text import imported_text
from tercet.exchange.leadsheet import LeadSheet, TuneError
from tercet.exchange.tunes import Choice, read_tune

__all__ = ["Choice", "LeadSheet", "TuneError", "imported_text", "read_tune"]
