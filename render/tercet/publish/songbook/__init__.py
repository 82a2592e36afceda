"""The songbook: songs on paper as one book, with title page, contents, shapes and an index of first lines."""

from tercet.publish.songbook.book import Book, bound
from tercet.publish.songbook.flow import BookLook
from tercet.publish.songbook.front import RIGHTS, SILENT_RIGHTS, Cover
from tercet.publish.songbook.songs import BookSheet, BookSong, laid_out

__all__ = [
    "RIGHTS",
    "SILENT_RIGHTS",
    "Book",
    "BookLook",
    "BookSheet",
    "BookSong",
    "Cover",
    "bound",
    "laid_out",
]
