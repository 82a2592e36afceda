"""Tracks of one's own: the setting ``tracks`` of a song and of a class file."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence

from tercet.errors import RequestError, SongError
from tercet.song.bar_choice import bar_indices
from tercet.song.choice_words import parse_choice
from tercet.song.frame import Entry, Mapping, Node, Text
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import Bar, OwnTrack, Source, TrackPlace
from tercet.song.note_choice import BarsOfSection, Choice, Numbered, parts_of
from tercet.song.practice_forms import PRACTICE_FORMS
from tercet.song.track_settings import (
    CHOICES,
    LONGEST_NAME,
    OTHER_NAMES,
    SETTING_NAMED,
    TRACK_NAME,
    Fields,
)
from tercet.song.values import in_one_piece
from tercet.theory.limits import MOST_OWN_TRACKS

__all__ = ["check_places", "missing_places", "read_own_tracks", "refuse_names"]


def read_own_tracks(node: Node | None, key: Source, book: MistakeBook) -> tuple[OwnTrack, ...]:
    """Read the setting ``tracks``.

    Parameters
    ----------
    node
        Its value, None when it isn't written.
    key
        Where its name stands.
    book
        Where mistakes are noted.

    Returns
    -------
    tuple of OwnTrack
        Those that could be read, in the order written.
    """
    if node is None:
        return ()
    if not isinstance(node, Mapping) or not node.entries:
        place = key if isinstance(node, Text) and not node.text else node.place
        book.add("tracks need names, and under each what it is", place, "tracks", _EXAMPLE)
        return ()
    if len(node.entries) > MOST_OWN_TRACKS:
        message = f"there must be at most {MOST_OWN_TRACKS} tracks (got {len(node.entries)})"
        book.add(message, key, "tracks", "remove some")
        return ()
    names = {entry.key.text for entry in node.entries}
    found = (_read_track(entry, names, book) for entry in node.entries)
    return tuple(track for track in found if track is not None)


_EXAMPLE = "write tracks: and under it `  open-strings-yours:`, and under that `    yours: open`"


def _read_track(entry: Entry, names: Collection[str], book: MistakeBook) -> OwnTrack | None:
    """Return a track; None, and its mistakes, when it can't be read."""
    before = len(book)
    name = entry.key.text
    row = f"tracks, {name[:40]}"
    if not TRACK_NAME.fullmatch(name) or len(name) > LONGEST_NAME:
        plain = "-".join(re.findall(r"[a-z0-9]+", name.casefold())).lstrip("-0123456789")[:LONGEST_NAME]
        plain = plain.strip("-")
        book.add(
            f"`{name[:40]}` can't be a track's name: it needs a small letter first, then small letters, digits "
            f"or single hyphens, {LONGEST_NAME} at most",
            entry.key.place,
            "tracks",
            "" if plain and plain not in names else "write for instance my-track:",
            write=plain if plain and plain not in names else None,
        )
    if not isinstance(entry.value, Mapping):
        empty = isinstance(entry.value, Text) and not entry.value.text
        book.add(
            "this track says nothing" if empty else "what a track is stands under its name, further in",
            entry.key.place if empty else entry.value.place,
            row,
            "write for instance `    yours: open` under it, further in",
        )
        return None
    fields: Fields = {}
    written = {part.key.text for part in entry.value.entries}
    for part in entry.value.entries:
        fields |= _read_part(part, written, row, book)
    if len(book) == before:
        keys = {part.key.text: part.key.place for part in entry.value.entries}
        for setting, message, mend in _clashes(keys, fields):
            book.add(message, keys.get(setting, entry.key.place), row, mend)
    if len(book) > before:
        return None
    places = ((part.key.text, part.value.place) for part in entry.value.entries)
    return OwnTrack(
        name=name,
        **fields,
        places=tuple(
            TrackPlace(setting, place, book.lines[place.line - 1])
            for setting, place in (("name", entry.key.place), *places)
        ),
    )


def _read_part(entry: Entry, written: Collection[str], row: str, book: MistakeBook) -> Fields:
    name, value = entry.key.text, entry.value
    part = SETTING_NAMED.get(name)
    if part is None:
        close = OTHER_NAMES.get(name.casefold()) or meant_word(name, SETTING_NAMED)
        wrong_name = f"a track has no setting `{name[:40]}`"
        if close and close not in written:
            book.add(wrong_name, entry.key.place, row, write=close)
        else:
            mend = f"`{close}` is there already" if close else "a track has " + ", ".join(SETTING_NAMED)
            book.add(wrong_name, entry.key.place, row, mend)
        return {}
    try:
        return part.read(value)
    except SlipError as wrong:
        empty = isinstance(value, Text) and not value.text and not value.style
        place = entry.key.place if empty else value.place
        if wrong.write is not None and wrong.place is None and not in_one_piece(value):
            wrong = SlipError(wrong.message, f"write {wrong.write}")
        book.add_slip(wrong.put(f"{name}: {wrong.message}"), place, row)
        return {}


def _clashes(written: Collection[str], fields: Fields) -> Iterator[tuple[str, str, str]]:
    """Yield what a track's settings can't mean together: which (``"name"`` for the track), what is wrong, the mend."""
    way: str = fields.get("way", "through")
    form = PRACTICE_FORMS[way]
    speeds = len(fields.get("speeds", ()))
    for name in written:
        only = SETTING_NAMED[name].only
        if only and way not in only:
            ways = " or ".join(f"way: {other}" for other in only)
            yield name, f"`{name}` is only for {ways}", f"write {ways} too, or leave {name} out"
    if "yours" in written and "heard" in written:
        yield "heard", "`yours` and `heard` say the same thing from both sides", "keep one of them"
    if "guide" in written and not form.by_turns and "yours" not in written and "heard" not in written:
        yield "guide", "`guide` is soft where notes are left out, and none are", "write yours: too"
    if speeds > 1 and len(form.speeds) < 2:
        yield "speed", "only a ladder has several speeds", "write way: ladder too, or one speed"
    if speeds == 1 and len(form.speeds) > 1:
        yield "speed", "a ladder has several speeds", "write for instance speed: 60% 80% 100%"
    if fields.get("yours") == "all" and "guide" not in written and not form.by_turns:
        yield "yours", "with all notes left out nothing is heard", "write guide: too, such as guide: tune"
    if way == "through" and set(written) <= {"purpose", "way"}:
        wrong = "this track would be the demo: nothing is left out, looped or slowed"
        yield "name", wrong, "write for instance yours: open"


# ---- what depends on the piece, or on other tracks


def check_places(tracks: Iterable[OwnTrack], bars: Sequence[Bar], book: MistakeBook) -> None:
    """Note bars and sections that the piece as played doesn't have."""
    for track in tracks:
        for setting, message in missing_places(track, bars):
            book.add(f"{setting}: {message}", track.place(setting), f"tracks, {track.name}")


def missing_places(track: OwnTrack, bars: Sequence[Bar]) -> tuple[tuple[str, str], ...]:
    """Return what a track asks for that a piece doesn't have: pairs of the setting and a sentence.

    Parameters
    ----------
    track
        Perhaps of a class file, which knows nothing of the piece.
    bars
        The piece as `tercet.song.played_bars` gives it.
    """
    asked = [("bars", track.bars)] if track.bars else []
    for setting in CHOICES:
        text: str = getattr(track, setting)
        for part in parts_of(parse_choice(text)) if text else ():
            asked += [(setting, words) for words in _bars_asked(part)]
    missing = []
    for setting, words in asked:
        try:
            bar_indices(words, bars)
        except RequestError as error:
            missing.append((setting, str(error)))
    return tuple(missing)


def _bars_asked(part: Choice) -> list[str]:
    """Return what a choice asks for, as `bar_indices` reads it."""
    if isinstance(part, Numbered) and part.counted == "bar":
        return [str(number) for pair in part.ranges for number in pair]
    if isinstance(part, BarsOfSection):
        visit = {None: "", -1: "@last"}.get(part.pass_number, f"@{part.pass_number}")
        ranges = [f":{first}-{last}" for first, last in part.ranges] or [""]
        return [f"{part.section}{visit}{numbers}" for numbers in ranges]
    return []


def refuse_names(tracks: Iterable[OwnTrack], taken: Collection[str], file: str) -> None:
    """Refuse tracks whose names are taken by built-in ones.

    Raises
    ------
    SongError
        With each such name at its place in the file.
    """
    mistakes = [
        track.mistake(
            f"there is a built-in track `{track.name}`",
            f"give this one another name, such as my-{track.name}",
        )
        for track in tracks
        if track.name in taken
    ]
    if mistakes:
        raise SongError(file, tuple(mistakes))
