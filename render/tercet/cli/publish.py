"""``tercet publish``: a class's pages as a folder for the web."""

from __future__ import annotations

import argparse
import os
from datetime import UTC, datetime
from typing import Any

from tercet.cli.options import PLAYING, add_options, add_sets, options_of, play_options
from tercet.cli.progress import listening
from tercet.cli.talk import put, say
from tercet.wording import counted

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "publish"
HELP = "make a folder that any web host can serve: pages, songbook, feed of what is new"
DESCRIPTION = (
    "Make a folder that any web host can serve: the page of each song beside the class file, the list of them with "
    "this week first, a songbook, a feed of what is new. Nothing is sent anywhere: you put the folder where your class "
    "finds it. Songs without a licence line are left out, unless --mine says that you may share them. Search engines "
    "are asked to stay away, unless --findable."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("class_path", metavar="CLASS", help="class file, or its folder")
    parser.add_argument("-o", "--output", metavar="DIR", required=True, help="folder, made if missing")
    parser.add_argument(
        "--mine", action="store_true", help="songs without a licence line too: you may share them"
    )
    parser.add_argument("--findable", action="store_true", help="search engines may list it; with a sitemap")
    parser.add_argument(
        "--no-kit",
        dest="kit",
        action="store_false",
        help="don't make recordings; a kit that is there is used",
    )
    parser.add_argument("--films", action="store_true", help="a film of each song, too: it takes a while")
    parser.add_argument(
        "--no-songbook",
        dest="songbook",
        action="store_false",
        help="don't bind the sheets of all songs into a book",
    )
    add_sets(parser)
    add_options(parser, "--left-handed", "--replace")
    add_options(parser, *PLAYING, "--progress")


def run(arguments: argparse.Namespace) -> int:
    """Make the folder, and tell how large it is."""
    with listening(arguments, say) as listener:
        from tercet.kit.pages import PageOptions
        from tercet.kit.sites import SiteOptions, make_site

        pages = options_of(PageOptions, arguments, play=play_options(arguments, players=None))
        options = options_of(SiteOptions, arguments, pages=pages, **_now())
        result = make_site(arguments.class_path, arguments.output, options, listener)
    for name, size in result.sizes.items():
        put(f"{size / 1e6:7.1f} MB  {name or 'list, feed, icons'}")
    total = sum(result.sizes.values())
    put(f"{total / 1e6:7.1f} MB  in all, {counted(len(result.sizes) - 1, 'song')}")
    return int(bool(result.pages.left))


def _now() -> dict[str, Any]:
    """Return when it is made where SOURCE_DATE_EPOCH says so, as builds that can be repeated do; else nothing."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    return {"now": datetime.fromtimestamp(int(epoch), UTC)} if epoch.isdigit() else {}
