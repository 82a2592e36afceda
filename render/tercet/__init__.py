r"""Tercet: one tune as three layers on four strings (melody, between, strums).

This is the front door: the nouns and the verbs of the pipeline, a name each, loaded with its room when it is first
asked for. Importing the package itself does nothing else: no probing, no files, no heavy libraries.

>>> import tercet
>>> song = tercet.parse_song("title: One Bar\nmeter: 2/4\nsections:\n  a: |\n    chords C\n    melody C5 E\n")
>>> take = tercet.perform(tercet.arrange(song, players="beginner"))
>>> {note.layer for note in take.notes} <= {"melody", "between", "strums"}
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tercet.arranging import Arrangement, Gesture, Problem, StringNote, second_part
    from tercet.arranging.key_advice import KeyAdvice
    from tercet.errors import (
        OutputError,
        OutsideError,
        ParameterError,
        RequestError,
        SongError,
        SoundFontError,
        SynthesiserError,
        TercetError,
    )
    from tercet.exchange import TuneError
    from tercet.front_door import (
        ImportedTune,
        Sheet,
        advise,
        arrange,
        export,
        handout,
        import_tune,
        perform,
        sheet,
        transpose,
    )
    from tercet.hearing import Advice, Heard, HearingOptions, Recording, hear, read_recording
    from tercet.kit import Event, KitOptions, OptionError, PlayOptions
    from tercet.kit.films import FilmOptions
    from tercet.kit.films import make_film as film
    from tercet.kit.kits import KitResult, make_kit
    from tercet.kit.live_song import LiveSong, LiveSound
    from tercet.kit.one_track import OneTrack, make_track
    from tercet.kit.pages import PageOptions, PagesResult
    from tercet.kit.pages import make_pages as page
    from tercet.kit.plans import SuggestedSong, suggested_order
    from tercet.kit.plans import plan_of as term_plan
    from tercet.kit.sites import SiteOptions, SiteResult, make_site
    from tercet.kit.songbook import SongbookOptions
    from tercet.kit.songbook import make_songbook as songbook
    from tercet.performing import Take, TakeNote
    from tercet.publish.term_plan import TermPlan
    from tercet.song import Song, parse_song, read_song, write_song
    from tercet.sound.soundfont_choice import Sound
    from tercet.sound.stems import Audio, Stems
    from tercet.theory import Chord, Key, Pitch, Tuning
    from tercet.tracks.in_memory import synthesise, track
    from tercet.tracks.practice_forms import TrackOptions

__all__ = [
    "Advice",
    "Arrangement",
    "Audio",
    "Chord",
    "Event",
    "FilmOptions",
    "Gesture",
    "Heard",
    "HearingOptions",
    "ImportedTune",
    "Key",
    "KeyAdvice",
    "KitOptions",
    "KitResult",
    "LiveSong",
    "LiveSound",
    "OneTrack",
    "OptionError",
    "OutputError",
    "OutsideError",
    "PageOptions",
    "PagesResult",
    "ParameterError",
    "Pitch",
    "PlayOptions",
    "Problem",
    "Recording",
    "RequestError",
    "Sheet",
    "SiteOptions",
    "SiteResult",
    "Song",
    "SongError",
    "SongbookOptions",
    "Sound",
    "SoundFontError",
    "Stems",
    "StringNote",
    "SuggestedSong",
    "SynthesiserError",
    "Take",
    "TakeNote",
    "TercetError",
    "TermPlan",
    "TrackOptions",
    "TuneError",
    "Tuning",
    "__version__",
    "advise",
    "arrange",
    "export",
    "film",
    "handout",
    "hear",
    "import_tune",
    "make_kit",
    "make_site",
    "make_track",
    "page",
    "parse_song",
    "perform",
    "read_recording",
    "read_song",
    "second_part",
    "sheet",
    "songbook",
    "suggested_order",
    "synthesise",
    "term_plan",
    "track",
    "transpose",
    "write_song",
]

__version__ = "0.2.0"

_ROOMS = {
    "tercet.arranging": (
        "Arrangement",
        "Gesture",
        "Problem",
        "StringNote",
        "second_part",
    ),
    "tercet.arranging.key_advice": ("KeyAdvice",),
    "tercet.errors": (
        "OutputError",
        "OutsideError",
        "ParameterError",
        "RequestError",
        "SongError",
        "SoundFontError",
        "SynthesiserError",
        "TercetError",
    ),
    "tercet.exchange": ("TuneError",),
    "tercet.front_door": (
        "ImportedTune",
        "Sheet",
        "advise",
        "arrange",
        "export",
        "handout",
        "import_tune",
        "perform",
        "sheet",
        "transpose",
    ),
    "tercet.hearing": (
        "Advice",
        "Heard",
        "HearingOptions",
        "Recording",
        "hear",
        "read_recording",
    ),
    "tercet.kit": (
        "Event",
        "KitOptions",
        "OptionError",
        "PlayOptions",
    ),
    "tercet.kit.films": (
        "FilmOptions",
        "film",
    ),
    "tercet.kit.kits": (
        "KitResult",
        "make_kit",
    ),
    "tercet.kit.live_song": (
        "LiveSong",
        "LiveSound",
    ),
    "tercet.kit.one_track": (
        "OneTrack",
        "make_track",
    ),
    "tercet.kit.pages": (
        "PageOptions",
        "PagesResult",
        "page",
    ),
    "tercet.kit.plans": (
        "SuggestedSong",
        "suggested_order",
        "term_plan",
    ),
    "tercet.kit.sites": (
        "SiteOptions",
        "SiteResult",
        "make_site",
    ),
    "tercet.kit.songbook": (
        "SongbookOptions",
        "songbook",
    ),
    "tercet.performing": (
        "Take",
        "TakeNote",
    ),
    "tercet.publish.term_plan": ("TermPlan",),
    "tercet.song": (
        "Song",
        "parse_song",
        "read_song",
        "write_song",
    ),
    "tercet.sound.soundfont_choice": ("Sound",),
    "tercet.sound.stems": (
        "Audio",
        "Stems",
    ),
    "tercet.theory": (
        "Chord",
        "Key",
        "Pitch",
        "Tuning",
    ),
    "tercet.tracks.in_memory": (
        "synthesise",
        "track",
    ),
    "tercet.tracks.practice_forms": ("TrackOptions",),
}
"""Where each name comes from."""

_OTHERWISE = {
    "film": "make_film",
    "page": "make_pages",
    "songbook": "make_songbook",
    "term_plan": "plan_of",
}
"""Names that are others in their room."""


def __getattr__(name: str) -> object:
    """Load a name's room when the name is first asked for."""
    for room, names in _ROOMS.items():
        if name in names:
            found: object = getattr(import_module(room), _OTHERWISE.get(name, name))
            globals()[name] = found
            return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__
