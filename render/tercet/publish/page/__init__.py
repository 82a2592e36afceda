"""The class page: plain HTML, CSS and JavaScript that play a song's layers, near or far, in a student's browser."""

from tercet.publish.page.kept_page import FOLDER, PageFiles
from tercet.publish.page.modelled import is_modelled
from tercet.publish.page.sets import KitTrack, PageSet, TrackBar, Turn, tuning_of
from tercet.publish.page.song_page import (
    LINKED,
    ListedSong,
    ListedWeek,
    PageLesson,
    PagePlan,
    PageWeek,
    class_page,
    song_page,
)
from tercet.publish.page.sound import PageSound, made_sounds

__all__ = [
    "FOLDER",
    "LINKED",
    "KitTrack",
    "ListedSong",
    "ListedWeek",
    "PageFiles",
    "PageLesson",
    "PagePlan",
    "PageSet",
    "PageSound",
    "PageWeek",
    "TrackBar",
    "Turn",
    "class_page",
    "is_modelled",
    "made_sounds",
    "song_page",
    "tuning_of",
]
