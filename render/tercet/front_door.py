"""The verbs of the front door that take what people write: names, numbers and texts where the rooms take exact values.

Everything else that `tercet` offers comes from its room as it is.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import KW_ONLY, dataclass, replace
from fractions import Fraction
from pathlib import Path

from tercet.arranging import Arrangement, chords_alone, second_part, song_tuning
from tercet.arranging.advice import advise as advise_tunings
from tercet.arranging.key_advice import KeyAdvice, voice_named
from tercet.errors import RequestError
from tercet.exchange import Choice, imported_text, read_tune
from tercet.exchange.abc import abc_bytes
from tercet.exchange.chordpro import chordpro_bytes
from tercet.exchange.midi import plain_midi_bytes
from tercet.exchange.musicxml import musicxml_bytes
from tercet.kit.events import Listener, unheard
from tercet.kit.on_paper import make_handout, sheet_bytes
from tercet.kit.options import GivenTuning, PlayOptions, Speed, speed_of, tunings_of
from tercet.kit.ready import arranged, as_asked
from tercet.made_files import check_ending, check_may_make, write_made
from tercet.performing import Take, lay_out
from tercet.performing import perform as perform_timeline
from tercet.performing.midi import midi_bytes
from tercet.song import Feel, Players, Song, bar_indices, move_to, transpose_song

__all__ = [
    "ImportedTune",
    "Sheet",
    "advise",
    "arrange",
    "check_may_export",
    "check_may_print",
    "export",
    "handout",
    "import_tune",
    "perform",
    "sheet",
    "transpose",
]


@dataclass(frozen=True, slots=True)
class ImportedTune:
    """A tune from elsewhere as a song.

    Parameters
    ----------
    song
        What was read.
    text
        The same as an arrangement file, with the remarks on top.
    remarks
        A sentence for everything that was left out, guessed or changed.
    """

    song: Song
    text: str
    remarks: tuple[str, ...]


def import_tune(
    path: str | os.PathLike[str],
    *,
    tune: str = "",
    part: str = "",
    voice: str = "",
    harmonise: bool = False,
) -> ImportedTune:
    """Read a tune from a MusicXML, ABC or MIDI file.

    Parameters
    ----------
    path
        The file.
    tune
        Of a book, by number or title or a part of it.
    part, voice
        The part (or MIDI track) and the voice with the tune, by number or name; the likeliest without them.
    harmonise
        Propose plain chords for a tune that has none.

    Raises
    ------
    TuneError
        The file can't be read, or has no such tune, part or voice.
    """
    place = Path(path)
    text, song, remarks = imported_text(
        read_tune(place, Choice(tune, part, voice)), place.name, harmonise=harmonise
    )
    return ImportedTune(song, text, remarks)


def advise(
    song: Song,
    *,
    tunings: GivenTuning | Sequence[GivenTuning] = (),
    players: Players | None = None,
    voice: str = "",
) -> tuple[KeyAdvice, ...]:
    """Return the twelve keys for a song, the best first: how much of it can be played, how well it is heard and sung.

    Parameters
    ----------
    song
        As written.
    tunings
        Those that play together, named as in `arrange`; the song's own without them.
    players
        Who plays; those that the song names without it.
    voice
        Who sings: ``"low"``, ``"high"``, or a range such as ``"A3-D5"``.

    Raises
    ------
    OptionError
        There is no such tuning, or no such players.
    RequestError
        The song has no tune, or there is no such voice.
    """
    asked = as_asked(song, PlayOptions(players=players))
    return advise_tunings(
        asked, tunings_of(tunings) or (song_tuning(song),), voice_named(voice) if voice else None
    )


def transpose(song: Song, to: int | str) -> Song:
    """Return a song in another key: -24 to 24 semitones up, down with a minus, or ``"Bb"``, ``"F# minor"``.

    A key that is named is reached the nearest way. Fingerings that are pinned in the song move along where they still
    hold: `tercet.song.transpose_song` tells which are dropped. `tercet.arranging.transposing.transpose_text` does the
    same to the text of a file.

    Raises
    ------
    RequestError
        The distance is too far, or there is no such key.
    """
    return transpose_song(song, *move_to(song, to))[0]


def arrange(
    song: Song,
    *,
    tuning: GivenTuning | None = None,
    players: Players | None = None,
    as_written: bool = False,
) -> Arrangement:
    """Place every note of a song on a string, for these strings and these hands.

    Parameters
    ----------
    song
        What was written.
    tuning
        ``"high-g"``, ``"low-g"``, ``"baritone"``, or four notes such as ``"A4 D4 F#4 B4"``, string 4 first; the song's
        own without it. In another tuning than the song's own its pinned fingerings are dropped.
    players
        ``"beginner"``, ``"improving"`` or ``"free"``; those that the song names without it.
    as_written
        Keep the octave of notes that no string has: they sound, and have no fret.

    Returns
    -------
    Arrangement
        With `problems`, what these hands can't do as written; `by_bar`; and `tab`, the tab as text.

    Raises
    ------
    OptionError
        There is no such tuning, or no such players.
    RequestError
        The song has no bars to play.
    """
    return arranged(song, PlayOptions(tuning=tuning, players=players, as_written=as_written))


def perform(  # noqa: PLR0913 - options by name
    arrangement: Arrangement,
    *,
    bars: str = "",
    speed: Speed = Fraction(1),
    count_in_bars: int | None = None,
    front: Fraction | float | None = None,
    feel: Feel | None = None,
    flat: bool = False,
    dry: bool = False,
    seed: int = 1,
) -> Take:
    """Play an arrangement: every note with its onset, length and level.

    Parameters
    ----------
    arrangement
        What is played.
    bars
        Only these: ``"5-8"`` as played, ``"verse:3-4"`` of a section, ``"verse@2:3-4"`` on its second pass.
    speed
        A part of the song's tempo, 0.25 to 2: ``0.7``, ``"70%"``.
    count_in_bars
        Bars counted before, 0 to 8; as the song says without it, else one.
    front
        How far the strums lie behind the melody, 0 to 24 LU between their median gestures; as the song says without it.
    feel
        How exactly the layers keep together: ``"steady"``, ``"natural"`` or ``"loose"``; as the song says without it.
    flat
        Every note equally loud.
    dry
        Exactly on the beat and exactly at the marks.
    seed
        Another number plays it a little differently.

    Raises
    ------
    OptionError
        A value is out of its range.
    RequestError
        The song has no such bars.
    """
    asked = PlayOptions(count_in_bars=count_in_bars, front=front, feel=feel)
    played = replace(arrangement, song=as_asked(arrangement.song, asked))
    indices = bar_indices(bars, arrangement.bars) if bars else None
    timeline = lay_out(played, indices, speed_of(speed), asked.counted_in(played.song))
    return perform_timeline(played, timeline, seed=seed, dry=dry, flat=flat)


SHEET_ENDINGS = (".pdf", ".svg")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A song on paper, drawn when it is written.

    Parameters
    ----------
    arrangement
        The song.
    paper
        Of a PDF: ``A4``, ``Letter``, ``A5`` or ``Half-Letter``.
    large
        Larger, tab and words only.
    left_handed
        Mirror the shapes.
    words
        Words with chords above them, for those who sing and strum.
    """

    arrangement: Arrangement
    _: KW_ONLY
    paper: str = "A4"
    large: bool = False
    left_handed: bool = False
    words: bool = False

    def write(
        self, path: str | os.PathLike[str], listener: Listener = unheard, *, replace: bool = False
    ) -> Path:
        """Write the sheet and return its path: a ``.pdf`` has pages, a ``.svg`` is one long picture.

        A listener is told of signs that no font has.

        Raises
        ------
        RequestError
            Another ending, no such paper, or a file is there that Tercet didn't make or that was changed since; it is
            written over with `replace`.
        """
        place = Path(path)
        check_may_print(place, replace=replace)
        ending = place.suffix.lower()
        data = sheet_bytes(
            self.arrangement,
            ending,
            listener,
            paper=self.paper,
            large=self.large,
            left_handed=self.left_handed,
            words=self.words,
        )
        write_made(place, data, maker="sheet", replace=replace)
        return place


def check_may_print(path: Path, *, replace: bool) -> None:
    """Refuse what `Sheet.write` refuses, before a song is read."""
    handout = ", or say --handout for a picture" if path.suffix.lower() == ".png" else ""
    check_ending(path, SHEET_ENDINGS, "sheet", ".pdf", handout)
    check_may_make(path, replace=replace)


def sheet(
    arrangement: Arrangement,
    *,
    paper: str = "A4",
    large: bool = False,
    left_handed: bool = False,
    words: bool = False,
) -> Sheet:
    """Return the sheet of a song, ready to be written: ``tercet.sheet(arrangement).write("sheet.pdf")``."""
    return Sheet(arrangement, paper=paper, large=large, left_handed=left_handed, words=words)


def handout(
    arrangement: Arrangement,
    path: str | os.PathLike[str],
    listener: Listener = unheard,
    *,
    left_handed: bool = False,
    replace: bool = False,
) -> tuple[Path, ...]:
    """Write the whole song as one picture, 16:9, or a few; return their paths, ``FILE-1.png`` and so on for several.

    Raises
    ------
    RequestError
        The path ends in neither ``.png`` nor ``.svg``, or a file is there that must stay; see `Sheet.write`.
    """
    return make_handout(arrangement, Path(path), listener, left_handed=left_handed, replace=replace)


def export(
    arrangement: Arrangement, path: str | os.PathLike[str], *, plain: bool = False, replace: bool = False
) -> tuple[str, ...]:
    """Write an arrangement for other programs, and return a sentence for what its kind of file can't hold.

    Parameters
    ----------
    arrangement
        The song.
    path
        Its ending chooses the kind: ``.musicxml`` or ``.xml`` has the tune on a staff and the tab under it, ``.abc``
        the tune with chords and words, ``.cho`` words and chords as ChordPro, ``.mid`` the layers as they are
        performed, ``.txt`` the tab as plain text.
    plain
        MIDI exactly as written, for programs that draw notes.
    replace
        Whether a file there that Tercet didn't make, or that was changed since, may be replaced.

    Raises
    ------
    RequestError
        Another ending, `plain` for another kind than MIDI, or a file there must stay.
    """
    place = Path(path)
    check_may_export(place, plain=plain, replace=replace)
    make = _EXPORTS[place.suffix.lower()]
    data, remarks = plain_midi_bytes(arrangement.song) if plain else make(arrangement)
    write_made(place, data, maker="export", replace=replace)
    return remarks


def check_may_export(path: Path, *, plain: bool, replace: bool) -> None:
    """Refuse what `export` refuses, before a song is read."""
    ending = path.suffix.lower()
    if ending not in _EXPORTS:
        known = " ".join(_EXPORTS)
        raise RequestError(
            f"{path} ends in {ending or 'nothing'}: the endings that can be exported are {known}",
            given=str(path),
            meant=str(path.with_suffix(".musicxml")) if path.name else "",
        )
    if plain and ending != ".mid":
        raise RequestError(f"--plain is for MIDI, and {path} isn't: leave --plain out, or end FILE in .mid")
    check_may_make(path, replace=replace)


def _midi(arrangement: Arrangement) -> tuple[bytes, tuple[str, ...]]:
    return midi_bytes(arrangement, perform(arrangement)), ()


def _tab(arrangement: Arrangement) -> tuple[bytes, tuple[str, ...]]:
    return f"{arrangement.song.title}\n\n{arrangement.tab()}".encode(), ()


def _chordpro(arrangement: Arrangement) -> tuple[bytes, tuple[str, ...]]:
    from tercet.publish.pictures import shapes_used

    return chordpro_bytes(
        arrangement, [(use.chord, use.frets, use.fingers) for use in shapes_used(chords_alone(arrangement))]
    )


_EXPORTS: dict[str, Callable[[Arrangement], tuple[bytes, tuple[str, ...]]]] = {
    ".musicxml": musicxml_bytes,
    ".xml": musicxml_bytes,
    ".abc": lambda arrangement: abc_bytes(
        arrangement.song, second_part(arrangement).bars if arrangement.second else ()
    ),
    ".cho": _chordpro,
    ".chopro": _chordpro,
    ".mid": _midi,
    ".txt": _tab,
}
