"""The feed of what is new in a class, as Atom (RFC 4287), and its pages listed for search engines (sitemaps.org)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from tercet.printable import visible_line

__all__ = ["NewsEntry", "feed_bytes", "sitemap_bytes"]

ATOM = "http://www.w3.org/2005/Atom"
SITEMAP = "http://www.sitemaps.org/schemas/sitemap/0.9"


@dataclass(frozen=True, slots=True)
class NewsEntry:
    """Something that is new.

    Parameters
    ----------
    key
        A URN that stays the same as long as it is the same thing.
    title, summary
        What it is, and a sentence about it.
    href
        Its page: an address, or where it lies as seen from the feed.
    changed
        When it was last changed, in UTC.
    """

    key: str
    title: str
    summary: str
    href: str
    changed: datetime


def feed_bytes(key: str, title: str, home: str, entries: Sequence[NewsEntry], changed: datetime) -> bytes:
    """Return a feed as the bytes of an Atom file, what changed last first.

    Parameters
    ----------
    key, title
        Of the feed; the key is a URN.
    home
        The folder on the web in which it lies, with a slash at the end; empty where nobody knows.
    entries
        What it tells of.
    changed
        When anything in it last changed, in UTC.
    """
    feed = Element("feed", {"xmlns": ATOM})
    _say(feed, id=key, title=title, updated=_written(changed))
    SubElement(SubElement(feed, "author"), "name").text = visible_line(title)
    SubElement(feed, "generator").text = "Tercet"
    if home:
        SubElement(feed, "link", {"rel": "self", "type": "application/atom+xml", "href": f"{home}feed.xml"})
    SubElement(feed, "link", {"rel": "alternate", "type": "text/html", "href": f"{home}index.html"})
    for entry in sorted(entries, key=lambda each: (each.changed, each.key), reverse=True):
        told = SubElement(feed, "entry")
        _say(told, id=entry.key, title=entry.title, updated=_written(entry.changed), summary=entry.summary)
        SubElement(told, "link", {"rel": "alternate", "type": "text/html", "href": home + entry.href})
    return _file(feed)


def sitemap_bytes(addresses: Iterable[str]) -> bytes:
    """Return the addresses of pages as the bytes of a sitemap."""
    urls = Element("urlset", {"xmlns": SITEMAP})
    for address in addresses:
        SubElement(SubElement(urls, "url"), "loc").text = address
    return _file(urls)


def _say(element: Element, **texts: str) -> None:
    for name, text in texts.items():
        SubElement(element, name).text = visible_line(text)


def _written(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def _file(root: Element) -> bytes:
    indent(root)
    data: bytes = tostring(root, encoding="utf-8", xml_declaration=True)
    return data + b"\n"
