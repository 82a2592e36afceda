"""Engraving: an arrangement as printed music, line by line, in SVG."""

from __future__ import annotations

import json

from render.arrange import Arrangement
from render.publish.mei import Score, score_of
from render.publish.score_parts import ScoreLook

def raw(score, width=1900, scale=100):
    import verovio
    tk = verovio.toolkit()
    tk.setOptions({"pageWidth": width, "pageHeight": 60000, "adjustPageHeight": True, "breaks": "smart", "breaksSmartSb": 0.35, "header": "none", "footer": "none", "mnumInterval": 0, "xmlIdChecksum": False, "svgFormatRaw": True, "smuflTextFont": "none", "spacingSystem": 6, "lyricSize":4.5})
    ok = tk.loadData(score.mei)
    return [tk.renderToSVG(page) for page in range(1, tk.getPageCount() + 1)], tk.getLog()
