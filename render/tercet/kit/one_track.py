"""Making one track of one song: a recording, or a MIDI file of the notes that it has."""

from __future__ import annotations

import dataclasses
import os
import time
from contextlib import suppress
from dataclasses import KW_ONLY, dataclass
from fractions import Fraction
from pathlib import Path

from tercet.audio_formats import FORMATS
from tercet.errors import RequestError
from tercet.jobs.own_files import own_file
from tercet.kit.events import Event, Listener, tell_preparing, unheard
from tercet.kit.options import OptionError, PlayOptions, speed_of
from tercet.kit.ready import ReadySet, playing_of, ready, tell_problems
from tercet.kit.sources import GivenSong, SongSource, own_recipes_of, source_of
from tercet.kit.work_folder import work_folder
from tercet.made_files import check_may_make, write_made
from tercet.performing import lay_out
from tercet.song import LAYERS, Layer, Song, bar_indices
from tercet.sound.convolution import THREADS
from tercet.sound.stems import Progress
from tercet.tracks import Recipe, choose_layers, recipe_named
from tercet.tracks.balance import Balance
from tercet.tracks.clips.performed import facts_of
from tercet.tracks.kept_balance import kept_balance
from tercet.tracks.recording import Recording
from tercet.tracks.timelines import Source
from tercet.tracks.track_files import (
    SetOrder,
    Target,
    TrackOrder,
    ceilings_of,
    digest,
    gains_of,
    recording_of,
    write_track,
)
from tercet.wording import counted

__all__ = ["OneTrack", "PlayedTrack", "TrackRequest", "make_track"]

MIDI_ENDINGS = (".mid", ".midi")
MAKER = "render"
"""The command that a file is noted under."""


@dataclass(frozen=True, slots=True)
class OneTrack:
    """Which track of a song: by its name, or by its layers.

    Parameters
    ----------
    name
        Of the track, such as ``echo``, or one of the song's or the class's own; empty to choose by layers.
    without, only
        Layers that are left out; layers beside which nothing is heard. Both empty: all layers.
    flat
        Every note equally loud.
    speed
        A part of the song's tempo, 25% to 200%.
    bars
        Only these: ``5-8`` as played, ``verse:3-4`` of a section, ``verse@2:3-4`` on its second pass.

    Raises
    ------
    OptionError
        The speed is out of its range, or layers are chosen of a track that has its own.
    """

    name: str = ""
    _: KW_ONLY
    without: tuple[Layer, ...] = ()
    only: tuple[Layer, ...] = ()
    flat: bool = False
    speed: Fraction | float | str = Fraction(1)
    bars: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "speed", speed_of(self.speed))
        if self.name and (self.without or self.only):
            raise OptionError(
                "track", f" {self.name} already chooses the layers: leave out either it, or without and only"
            )

    def recipe(self, song: Song, source: SongSource) -> Recipe:
        """Return what the track is made of; `RequestError` where there is no such track, or nothing to hear."""
        if self.name:
            recipe = recipe_named(self.name, own_recipes_of(song, source), song.layers)
        else:
            recipe = choose_layers(self.without, self.only, song.layers)
        return dataclasses.replace(recipe, flat=True) if self.flat else recipe


def make_track(
    song: GivenSong,
    output: str | os.PathLike[str],
    track: OneTrack | str = "",
    options: PlayOptions | None = None,
    listener: Listener = unheard,
    *,
    replace: bool = False,
) -> Recipe:
    """Make one track of a song, and return what it is made of.

    Parameters
    ----------
    song
        An arrangement file, or a song.
    output
        The file; its ending chooses the kind: ``.wav .flac .mp3 .ogg .opus`` for a recording, ``.mid`` for MIDI.
    track
        Which one; its name will do.
    options
        How the song is arranged and played.
    listener
        Told how far it is, and what is to be known.
    replace
        Whether a file there that Tercet didn't make, or that was changed since, may be replaced.

    Raises
    ------
    RequestError
        The song has mistakes, there is no such track or kind of file, or a file there must stay.
    OutsideError
        The file can't be written, or the sound or the synthesiser isn't there.
    """
    options, path, source = options or PlayOptions(), Path(output), source_of(song)
    chosen = track if isinstance(track, OneTrack) else OneTrack(track)
    ending = path.suffix.lower()
    check_may_make(path, replace=replace)
    if ending not in MIDI_ENDINGS and ending not in FORMATS:
        known = " ".join([*FORMATS, ".mid"])
        raise RequestError(
            f"{path} ends in {path.suffix or 'nothing'}: the endings that Tercet can make are {known}",
            given=str(path),
            meant=str(path.with_suffix(".mp3")) if path.name else "",
        )
    start_s = time.monotonic()
    listener(Event("started", "track", file=str(path), done=0, total=2))
    one = ready(source, options, listener)
    request = TrackRequest(one, source, chosen.recipe(one.arrangement.song, source), chosen, options)
    tell_problems(one.arrangement, listener)
    listener(Event("step", "playing", file=str(path), done=1, total=2))
    title, recipe = one.arrangement.song.title, request.recipe
    if ending in MIDI_ENDINGS:
        write_made(path, request.midi(listener), maker=MAKER, replace=replace)
        notices: tuple[str, ...] = ()
    else:
        target = Path(os.path.realpath(path))
        files = own_file(path, maker=MAKER, replace=replace)
        with work_folder(target.parent) as work:
            notices = request.write_sound(files, target.name, work, listener).notices
    for notice in notices:
        listener(Event("notice", notice, title))
    listener(Event("made", recipe.purpose, title, track=recipe.name, file=str(path), done=2, total=2))
    if recipe.name == "without-melody":
        _tell_tune_between(one, listener)
    seconds = round(time.monotonic() - start_s, 2)
    listener(Event("done", "track", file=str(path), done=1, total=1, seconds=seconds))
    return recipe


@dataclass(frozen=True, slots=True)
class PlayedTrack:
    """A track whose sound is written: what it was cut from, and what to know about the sound."""

    recording: Recording
    notices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrackRequest:
    """A track that is asked for, of a song that is ready.

    Parameters
    ----------
    one, source
        The song.
    recipe, chosen
        Which track of it.
    options
        How it is played.
    """

    one: ReadySet
    source: SongSource
    recipe: Recipe
    chosen: OneTrack
    options: PlayOptions

    def write_sound(
        self, files: Target, name: str, work: Path, listener: Listener, ceiling_dbtp: float | None = None
    ) -> PlayedTrack:
        """Write the recording.

        Parameters
        ----------
        files, name
            Where it goes, and its name there; the ending chooses the format.
        work
            A folder for what is needed meanwhile.
        listener
            Told of what is prepared.
        ceiling_dbtp
            The gain is that of files with this ceiling; without it, of its own format.
        """
        options, arrangement = self.options, self.one.arrangement
        asked = options.of_tracks(arrangement.song, speed_of(self.chosen.speed), self.chosen.bars)
        order = SetOrder(
            arrangement,
            self.one.sound,
            (TrackOrder(self.recipe, asked, (name,)),),
            work,
            seed=options.seed,
            dry=options.dry,
            clear=options.clear,
            loud=options.loud,
            bits=options.bits,
            threads=1 if self._few_bars else THREADS,
        )
        recording, balance = self._balanced(order, tell_preparing(listener, ""))
        (own_dbtp,) = ceilings_of(order.tracks)
        under_dbtp = own_dbtp if ceiling_dbtp is None else ceiling_dbtp
        gains_db = {own_dbtp: gains_of([balance], [under_dbtp])[under_dbtp]}
        write_track(order, 0, recording, balance, gains_db, files)
        return PlayedTrack(recording, (*recording.playing.notices(), *balance.notices()))

    @property
    def _few_bars(self) -> bool:
        """Whether only some bars are asked for: soon played, so that a second thread costs more than it saves."""
        return bool(self.chosen.bars or self.recipe.bars)

    def _balanced(self, order: SetOrder, progress: Progress) -> tuple[Recording, Balance]:
        """Return the recording of the track, and its song's balance.

        Of a few bars the song isn't heard whole if its balance is known from before. Which way is taken doesn't depend
        on that, so the file doesn't either.
        """
        if not self._few_bars:
            recording = recording_of(order, progress)
            return recording, recording.balance()
        recording = recording_of(order, progress, variants=())
        variants = recording.needed_variants
        balance = kept_balance(recording.playing, variants, order.work, self._asked)
        return recording.near(), balance

    @property
    def _asked(self) -> str:
        """What stands for the song as it is written, and for how it is to be played; empty if it isn't in a file."""
        if isinstance(self.source.given, Song):
            return ""
        with suppress(OSError):
            return digest(self.source.content(), self.options)
        return ""

    def midi(self, listener: Listener) -> bytes:
        """Return the track as a MIDI file: bars once through, with the notes that it has."""
        from tercet.performing.midi import midi_bytes

        recipe = self.recipe
        if recipe.way != "through":
            raise RequestError(
                f"{recipe.name} goes through the music more than once, which a MIDI file here doesn't: "
                "end the file's name with .wav, or choose a track such as demo or without-melody"
            )
        playing = playing_of(self.one, self.options, listener)
        arrangement = playing.piece(recipe.piece)
        bars = self.chosen.bars or recipe.bars
        indices = bar_indices(bars, arrangement.bars) if bars else None
        speed = speed_of(self.chosen.speed) * recipe.steps[0]
        timeline = lay_out(arrangement, indices, speed, self.options.counted_in(arrangement.song))
        take = playing.take(timeline, Source(recipe.piece, speed, recipe.flat))
        facts = facts_of(take.notes, arrangement)
        heard = tuple(note for note, fact in zip(take.notes, facts, strict=True) if recipe.heard.picks(fact))
        layers = tuple(layer for layer in LAYERS if any(note.layer == layer for note in heard))
        return midi_bytes(arrangement, dataclasses.replace(take, notes=heard), layers or None)


def _tell_tune_between(one: ReadySet, listener: Listener) -> None:
    """Tell whether notes of the tune are still heard where the melody is left out, and how to leave them out too."""
    song, gestures = one.arrangement.song, one.arrangement.gestures
    tune = [gesture.layer for gesture in gestures if gesture.notes[-1].part == "tune"]
    if between := tune.count("between"):
        lie = counted(between, "lies in between and is still heard", "lie in between and are still heard")
        number, _, rest = lie.partition(" ")
        text = f"{number} of the tune's {counted(len(tune), 'note')} {rest}: "
        listener(Event("notice", f"{text}--track without-tune leaves out all of the tune", song.title))
