"""The class page: plain HTML, CSS and JavaScript that play a song's layers, near or far, in a student's browser."""

from tercet.publish.page.kept_page import FOLDER, PageFiles
from tercet.publish.page.kit_list import KIT_FILE, KitTrack, files_to_take, read_kit
from tercet.publish.page.making import PageSound, made_sound
from tercet.publish.page.song_page import PagePlan, SongEntry, class_page, song_page

__all__ = [
    "FOLDER",
    "KIT_FILE",
    "KitTrack",
    "PageFiles",
    "PagePlan",
    "PageSound",
    "SongEntry",
    "class_page",
    "files_to_take",
    "made_sound",
    "read_kit",
    "song_page",
]
