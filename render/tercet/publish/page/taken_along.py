"""What lets a class's pages be taken along: installed on a phone, and opened without internet once they were visited.

It works where a browser trusts the server, over https or from this computer. Nothing else comes with it: no other
server, no account.
"""

from __future__ import annotations

import json

import resvg_py

from tercet.publish.page.markup import page_file, text_table
from tercet.publish.pictures.looks import PAPER

__all__ = ["MANIFEST_NAME", "taken_along"]

MANIFEST_NAME = "class.webmanifest"
ICON_SIZES = (192, 512)
"""In pixels: what browsers ask for before they offer to install a page."""


def taken_along(title: str) -> dict[str, bytes]:
    """Return the files that lie beside the list of a class's songs, by name: manifest, service worker, icons.

    The manifest is a W3C Web Application Manifest.
    """
    icon = page_file("icon.svg")
    names = {size: f"icon-{size}.png" for size in ICON_SIZES}
    manifest = {
        "name": title,
        "lang": text_table()["language"],
        "start_url": "index.html",
        "scope": "./",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": [
            {"src": name, "sizes": f"{size}x{size}", "type": "image/png", "purpose": "any maskable"}
            for size, name in names.items()
        ],
    }
    drawn = {
        name: bytes(resvg_py.svg_to_bytes(svg_string=icon, width=size, height=size))
        for size, name in names.items()
    }
    return {
        MANIFEST_NAME: json.dumps(manifest, ensure_ascii=False, indent=1).encode("utf-8"),
        "offline.js": page_file("offline.js").encode("utf-8"),
        **drawn,
    }
