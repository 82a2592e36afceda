"""A song being played: one arrangement, one sound, one set of deviations; every way to play it that tracks ask for."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from fractions import Fraction

import numpy as np

from tercet.arranging import Arrangement, chords_alone, tune_up
from tercet.performing import (
    Interpretation,
    Take,
    Timeline,
    cleared,
    clearing_db,
    covered_notes,
    interpret,
    lay_out,
)
from tercet.performing.any_speed import PieceStrokes, piece_strokes
from tercet.performing.audible import StrokePlace
from tercet.performing.string_times import BeatWindow
from tercet.sound import Stems, Synthesiser
from tercet.sound.convolution import THREADS
from tercet.sound.measured import keeping_levels
from tercet.sound.room import RESPONSE_FRAMES, in_room, room_identity
from tercet.sound.stems import STEM_NAMES, LevelSynthesiser, Progress, StemName
from tercet.tracks.clips.performed import Performed
from tercet.tracks.timelines import Piece, Source

__all__ = ["Playing"]

NEAR_S = 8
"""What sounds longer before some bars, or later, doesn't change how they are played: what covers the tune, and what
ends a string, is nearer."""

NEAR_PART = Fraction(2, 3)
"""A longer part of a song is played whole."""


class Playing:
    """A song being played.

    Parameters
    ----------
    arrangement
        What is played.
    synthesiser
        What it is played with; the loudness of a sound font is measured once.
    seed
        As in `perform`.
    dry
        As in `perform`, and without the room: each layer as the synthesiser makes it.
    clear
        Lower the strings that cover the tune, as the whole song at full speed shows them.
    loud
        Ease the highest peaks of all tracks, so that they can be louder.
    threads
        How many work at the room.
    progress
        Told what takes a while, as (what is being done, steps done, steps in all).
    beats
        From where up to where the song is played, as in `interpret`; all of it without them.
    """

    def __init__(  # noqa: PLR0913 - options by name
        self,
        arrangement: Arrangement,
        synthesiser: Synthesiser,
        *,
        seed: int = 1,
        dry: bool = False,
        clear: bool = False,
        loud: bool = False,
        threads: int = THREADS,
        progress: Progress | None = None,
        beats: BeatWindow | None = None,
    ) -> None:
        self.arrangement = arrangement
        self.synthesiser = synthesiser
        self.loud = loud
        self._seed = seed
        self._dry = dry
        self._clear = clear
        self._threads = threads
        self._progress = progress
        self._beats = beats
        self._pieces: dict[Piece, Arrangement] = {"song": arrangement}
        self._interpretations: dict[tuple[Piece, bool, bool], Interpretation] = {}
        self._performed: dict[Source, Performed] = {}
        self._measured: dict[tuple[Piece, bool], LevelSynthesiser] = {}
        self._lowered: dict[bool, dict[StrokePlace, float]] = {}

    def __getstate__(self) -> dict[str, object]:
        """Return what goes to another process: all that was worked out, without what was measured of the sound."""
        return {**vars(self), "_interpretations": {}, "_measured": {}, "_progress": None}

    @property
    def dry(self) -> bool:
        """Whether it is played dry, without the room."""
        return self._dry

    @property
    def front_lu(self) -> float | None:
        """How far the strums are to lie behind the melody; None as marked."""
        front = self.arrangement.song.front
        return None if front is None else float(front)

    def near(self, beats: BeatWindow) -> Playing | None:
        """Return the song played near some beats alone, for as few bars as are heard at once.

        None where that would hardly be less, where all of it has been played already, or where what is far away counts,
        too: where strings are cleared, where a second voice gives way, and for a sound that is measured.
        """
        song, bars = self.arrangement.song, self.arrangement.bars
        margin_beat = NEAR_S * song.tempo / 60 * song.meter.pulse_beat
        start_beat, end_beat = beats[0] - margin_beat, beats[1] + margin_beat
        piece_beat = bars[-1].start_beat + bars[-1].length_beat - bars[0].start_beat
        by_song = self._clear or self.arrangement.second or not isinstance(self.synthesiser, LevelSynthesiser)
        if by_song or self._interpretations or end_beat - start_beat > NEAR_PART * piece_beat:
            return None
        return Playing(
            self.arrangement,
            self.synthesiser,
            seed=self._seed,
            dry=self._dry,
            loud=self.loud,
            threads=self._threads,
            progress=self._progress,
            beats=(start_beat, end_beat),
        )

    def piece(self, piece: Piece) -> Arrangement:
        """Return the arrangement of a piece."""
        if piece not in self._pieces:
            made = chords_alone(self.arrangement) if piece == "chords" else tune_up(self.arrangement)
            self._pieces[piece] = made
        return self._pieces[piece]

    def performed(self, source: Source) -> Performed:
        """Return a piece as it is played from beginning to end; each is performed once."""
        if source not in self._performed:
            arrangement = self.piece(source.piece)
            take = self._take(source, lay_out(arrangement, None, source.speed, 0))
            clock = self._interpreted(source).clock
            self._performed[source] = Performed(arrangement, take, source.speed, clock)
        return self._performed[source]

    def take(self, timeline: Timeline, source: Source | None = None) -> Take:
        """Return a take of the song over bars and a count-in of its own, for a MIDI file."""
        return self._take(source or Source(speed=timeline.spans[0].speed), timeline)

    def _take(self, source: Source, timeline: Timeline) -> Take:
        take = self._as_played(source, timeline)
        if not self._clear or source.piece != "song":
            return take
        return cleared(take, self._lowered_db(source.flat))

    def _as_played(self, source: Source, timeline: Timeline) -> Take:
        """Return a take without anything lowered."""
        return self._interpreted(source).perform(timeline, flat=source.flat)

    def _interpreted(self, source: Source) -> Interpretation:
        """Return how a source's piece is played, at whatever speed."""
        variant = (source.piece, source.steady, source.goes_round)
        if variant not in self._interpretations:
            self._interpretations[variant] = interpret(
                self.piece(source.piece),
                seed=self._seed,
                dry=self._dry,
                steady_pulse=source.steady,
                closes=not source.goes_round,
                leader=self._leader(source.piece),
                beats=self._beats if source.piece == "song" else None,
            )
        return self._interpretations[variant]

    def strokes(self) -> PieceStrokes:
        """Return the song's strokes as they are at any speed, in the order of its take at full speed."""
        return piece_strokes(self._interpreted(Source()), self.performed(Source()).take)

    def _lowered_db(self, flat: bool) -> dict[StrokePlace, float]:
        """Return by how much strings that cover the tune are lowered, as the whole song at full speed shows them."""
        if flat not in self._lowered:
            whole = lay_out(self.arrangement, None, Fraction(1), 0)
            self._lowered[flat] = clearing_db(covered_notes(self._as_played(Source(flat=flat), whole)))
        return self._lowered[flat]

    def _leader(self, piece: Piece) -> Arrangement:
        """Return whose ritards and fermatas a piece follows: chords alone wait where the song does."""
        return self.arrangement if piece == "chords" else self.piece(piece)

    def measured(self, source: Source) -> LevelSynthesiser:
        """Return the synthesiser that plays a source's piece as its marks promise."""
        variant = (source.piece, source.flat)
        if variant not in self._measured:
            whole = Source(source.piece, Fraction(1), source.flat)
            self._measured[variant] = keeping_levels(
                self.synthesiser, lambda: self.performed(whole).take, progress=self._progress
            )
        return self._measured[variant]

    def stems_of(self, take: Take, source: Source, names: Collection[StemName] = STEM_NAMES) -> Stems:
        """Return stems of any take of a source, in the room unless dry; nothing else puts them there."""
        stems = self.measured(source).stems(take, names)
        if not self._dry:
            return in_room(stems, self._threads)
        own = {name: np.require(samples, requirements=["C", "W"]) for name, samples in stems.by_name.items()}
        return replace(stems, by_name=own)

    @property
    def tail_frames(self) -> int:
        """How long the room goes on after a sound."""
        return 0 if self._dry else RESPONSE_FRAMES

    def notices(self) -> tuple[str, ...]:
        """Return what the user should know about the sound and this song; a sentence each."""
        return self.measured(Source()).notices()

    def sound_identity(self) -> str:
        """Return a text that changes whenever a take would sound different: the synthesiser's, and the room's.

        Raises
        ------
        SynthesiserError, SoundFontError
            As `Synthesiser.identity`.
        """
        room = "dry" if self._dry else room_identity()
        return f"{self.measured(Source()).identity()}, {room}{', loud' if self.loud else ''}"
