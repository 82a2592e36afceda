"""The printed score: staff and tab, engraved line by line, on the pages of a sheet."""

from tercet.publish.score.engraving import Engraving, engrave, line_svgs
from tercet.publish.score.pages import Sheet, SheetLook, sheet_of, sheet_pdf, sheet_svg

__all__ = ["Engraving", "Sheet", "SheetLook", "engrave", "line_svgs", "sheet_of", "sheet_pdf", "sheet_svg"]
