"""From what is asked for to songs that are ready to be played: moved, arranged for each set, with a sound."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from tercet.arranging import Arrangement, Problem, arrange, song_tuning
from tercet.arranging.advice import lower_octaves
from tercet.arranging.fingering import Shared
from tercet.kit.events import Event, Listener, tell_preparing, unheard
from tercet.kit.options import KitOptions, PlayOptions, front_of, keys_of, several_players_of, tunings_of
from tercet.kit.sources import SongSource
from tercet.song import Players, Song, drop_pins, transpose_song
from tercet.sound.convolution import THREADS
from tercet.sound.players import PlayedSound, player_of
from tercet.sound.soundfont_choice import Sound, choose_sound
from tercet.theory import Tuning
from tercet.tracks.playing import Playing

__all__ = [
    "ArrangedSet",
    "ReadySet",
    "arranged",
    "arranged_sets",
    "as_asked",
    "moved",
    "playing_of",
    "problem_text",
    "ready",
    "ready_sets",
    "sound_of",
    "tell_off_neck",
    "tell_problems",
]

MOST_PROBLEMS_TOLD = 6


@dataclass(frozen=True, slots=True)
class ArrangedSet:
    """One set of a song, arranged.

    `folder_name` is its folder in the song's own, `title` what tags and messages call it; both are empty where there is
    only one set. `key_semitones` says how far its key lies from that of the class.
    """

    folder_name: str
    title: str
    arrangement: Arrangement
    key_semitones: int = 0


@dataclass(frozen=True, slots=True)
class ReadySet:
    """One set of a song, ready to be played; all but its sound is as in `ArrangedSet`."""

    folder_name: str
    title: str
    arrangement: Arrangement
    sound: PlayedSound
    key_semitones: int = 0


def ready(source: SongSource, options: PlayOptions, listener: Listener = unheard) -> ReadySet:
    """Read and arrange one song, and choose its sound.

    Raises
    ------
    SongError, RequestError
        The song has mistakes, or can't be moved so far.
    SoundFontError
        The sound that is asked for isn't there.
    """
    song = source.read()
    return ReadySet("", "", arranged(song, options, listener), sound_of(source, song, options))


def arranged(
    song: Song, options: PlayOptions, listener: Listener = unheard, shared: Shared | None = None
) -> Arrangement:
    """Return a song arranged as it is asked for; what had to be dropped is told. `shared` is as in `arrange`."""
    asked, strings = moved(song, options, listener)
    return arrange(asked, strings, shared=shared)


def as_asked(song: Song, options: PlayOptions) -> Song:
    """Return a song that says what the options say instead of it: who plays, front, feel, notes kept as written."""
    return replace(
        song,
        as_written=song.as_written or options.as_written,
        front=song.front if options.front is None else front_of(options.front),
        feel=options.feel or song.feel,
        players=options.players or song.players,
    )


def moved(
    song: Song, options: PlayOptions, listener: Listener = unheard, *, for_set: str = ""
) -> tuple[Song, Tuning]:
    """Return a song as it is asked for, and its tuning; pins that had to be dropped are told, of a set if need be."""
    song = as_asked(song, options)
    own = song_tuning(song)
    strings = options.strings or own
    dropped: tuple[str, ...] = ()
    if strings.open_pitches != own.open_pitches:
        song, dropped = drop_pins(song)
    song, more = transpose_song(song, options.semitones(song))
    dropped += more
    if dropped:
        where = f"{for_set}: " if for_set else ""
        text = f"{where}these pins don't hold here and were dropped: {', '.join(dropped)}"
        listener(Event("notice", text, song.title))
    return replace(song, sounding=None), strings


def sound_of(source: SongSource, song: Song, options: PlayOptions) -> PlayedSound:
    """Return the sound that a song is played with."""
    if isinstance(options.sound, Sound):
        return options.sound.chosen().sound
    asked = None if options.sound is None else os.fspath(options.sound)
    return choose_sound(asked, song.sound, source.beside, os.environ).sound


def playing_of(
    one: ReadySet, options: PlayOptions, listener: Listener = unheard, *, threads: int = THREADS
) -> Playing:
    """Return a set as it is played; `threads` as in `Playing`."""
    return Playing(
        one.arrangement,
        player_of(one.sound),
        seed=options.seed,
        dry=options.dry,
        clear=options.clear,
        loud=options.loud,
        threads=threads,
        progress=tell_preparing(listener, ""),
    )


def ready_sets(source: SongSource, options: KitOptions, listener: Listener = unheard) -> tuple[ReadySet, ...]:
    """Read a song and arrange it for each tuning and for all players that are asked for.

    Parameters
    ----------
    source
        The song.
    options
        As `with_class` returns them.
    listener
        Told what had to be dropped, and which tuning takes the tune an octave lower.

    Returns
    -------
    tuple of ReadySet
        Key by key, each in the order of their tunings, then of their players. All share their bars.
    """
    song = source.read()
    sound = sound_of(source, song, options.play)
    return tuple(
        ReadySet(one.folder_name, one.title, one.arrangement, sound, one.key_semitones)
        for one in arranged_sets(song, options, listener)
    )


def arranged_sets(song: Song, options: KitOptions, listener: Listener = unheard) -> tuple[ArrangedSet, ...]:
    """Arrange a song for each tuning, for all players and in each key that are asked for, as `ready_sets` does."""
    keys = keys_of(options.keys) if options.keys else (0,)
    return tuple(
        one for key in keys for one in _sets_of_key(song, options, listener, key, named=len(keys) > 1)
    )


def _sets_of_key(
    song: Song, options: KitOptions, listener: Listener, key: int, *, named: bool
) -> Iterator[ArrangedSet]:
    """Yield the sets of one of the keys, so many semitones from that of the class; `named` after it if need be."""
    play = options.play
    semitones = play.semitones(song) + key
    tunings: tuple[Tuning | None, ...] = tunings_of(options.tunings) or (None,)
    hands: tuple[Players | None, ...] = (*several_players_of(options.players),) or (None,)
    in_key = str(transpose_song(song, semitones)[0].key) if named else ""
    for tuning, lower in zip(tunings, _octaves(song, tunings, play, semitones, hands), strict=True):
        name = _tuning_name(tuning) if tuning is not None and len(tunings) > 1 else ""
        transpose = semitones - 12 * lower
        here = replace(play, tuning=tuning, transpose=transpose)
        written, strings = moved(song, here, listener, for_set=", ".join(filter(None, [name, in_key])))
        if lower:
            asked = name.replace(" ", ",")
            text = (
                f"{name}: the tune is an octave lower, where it lies better on these strings "
                f"(one track alone: tercet render --transpose {transpose} --tuning {asked})"
            )
            listener(Event("notice", text, song.title))
        for players in hands:
            level = players if players and len(hands) > 1 else ""
            title = ", ".join(filter(None, [name, level, in_key]))
            part = arrange(
                replace(written, players=players or written.players),
                strings,
                simple=players == "beginner" and len(hands) > 1,
            )
            yield ArrangedSet(_folder_name(title), title, part, key)


def _octaves(
    song: Song,
    tunings: Sequence[Tuning | None],
    play: PlayOptions,
    semitones: int,
    hands: Sequence[Players | None],
) -> Sequence[bool]:
    """Return for each tuning of a kit whether its players take the tune an octave lower than the others."""
    named = [tuning for tuning in tunings if tuning is not None]
    if len(named) < 2:
        return (False,) * len(tunings)
    return lower_octaves(
        replace(song, as_written=song.as_written or play.as_written),
        named,
        semitones,
        [players or song.players for players in hands],
    )


def _tuning_name(tuning: Tuning) -> str:
    """Return a tuning's name, or its notes: ``A4 D4 F#4 B4``."""
    return tuning.name if tuning.name != "custom" else " ".join(map(str, tuning.open_pitches))


def _folder_name(title: str) -> str:
    """Return a set's title as a folder's name that every system takes: ``low-g-beginner``, ``a4-d4-fs4-b4``."""
    return title.replace(", ", "-").replace(" ", "-").replace("#", "s").lower()


def problem_text(problem: Problem) -> str:
    """Return what can't be done as written, where, and its remedy."""
    remedy = f" Remedy: {problem.remedy}." if problem.remedy else ""
    return f"bar {problem.bar_number} ({problem.section}): {problem.message}.{remedy}"


def tell_problems(arrangement: Arrangement, listener: Listener, set_title: str = "") -> None:
    """Tell what the players can't do as written, first notes that no string has; of several sets, for which."""
    start = f"{set_title}: " if set_title else ""
    ordered = sorted(arrangement.problems, key=lambda problem: not problem.off_neck)
    for problem in ordered[:MOST_PROBLEMS_TOLD]:
        listener(Event("problem", start + problem_text(problem), arrangement.song.title))
    more = len(ordered) - MOST_PROBLEMS_TOLD
    if more > 0:
        text = f"{start}… and {more} more: `tercet check` shows all"
        listener(Event("problem", text, arrangement.song.title))


def tell_off_neck(arrangement: Arrangement, listener: Listener) -> None:
    """Tell which notes no string has, and what becomes of them."""
    for problem in arrangement.problems:
        if problem.off_neck:
            listener(Event("problem", problem_text(problem), arrangement.song.title))
