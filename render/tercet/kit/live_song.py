"""A song that is heard while it is written: text in, the sound of any bars out, at once.

What takes long stays from one edit to the next: the tables of hands, the samples, the room, what was played, and the
balance. The balance is that of the text that was measured last. `LiveSong.settle` measures it again when there is time,
and from then on bars sound as `tercet render` writes them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from tercet.arranging import Arrangement
from tercet.arranging.fingering import Shared
from tercet.errors import RequestError
from tercet.kit.events import Listener, unheard
from tercet.kit.one_track import OneTrack
from tercet.kit.options import PlayOptions, speed_of
from tercet.kit.ready import ReadySet, arranged, playing_of, sound_of
from tercet.kit.sources import SongSource
from tercet.performing import TakeNote
from tercet.song import Song, parse_song
from tercet.song.class_file import in_class
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.stems import Audio, StemName, Stems
from tercet.tracks.balance import Balance, Variant, WholeHeard, balance_of
from tercet.tracks.clips.batch_cache import LastPlayed
from tercet.tracks.clips.mixing import add_cues
from tercet.tracks.facts import BarFacts, bar_frames, bars_of, note_frames
from tercet.tracks.in_memory import CEILING_DBTP, joined, mix_and_gain
from tercet.tracks.kept_balance import heard_whole
from tercet.tracks.playing import Playing
from tercet.tracks.practice_forms import timeline_of
from tercet.tracks.recording import Recording
from tercet.tracks.track_files import gain_under

__all__ = ["LiveParts", "LiveSong", "LiveSound"]

ROOM_BYTES = 64 << 20
"""What was played last is kept: a minute or two of each layer."""

THREADS = 1
"""A few bars are soon in their room: to start a second thread costs a third of that."""

MOST_ASKED = 4_000
"""So many answers about hands are kept, some 10 kB each at most: a song asks some hundred times, a text that is edited
less and less."""


@dataclass(frozen=True, slots=True)
class LiveSound:
    """Some bars as they sound.

    Parameters
    ----------
    audio
        All of it together, as a file of the track holds it.
    bars
        Which bars, and when each begins and ends.
    settled
        Whether the balance is that of this text: if not, `audio` may be a little louder or softer than in a file.
    gain_db
        The song's gain in it; less where it alone would come too high.
    """

    audio: Audio
    bars: tuple[BarFacts, ...]
    settled: bool
    gain_db: float
    _recording: Recording = field(repr=False, compare=False)
    _balance: Balance = field(repr=False, compare=False)

    def stems(self) -> Stems:
        """Return the same layer by layer, under the same gain, with the count-in and other cues beside them."""
        return _parted(self._recording, self._balance, self.gain_db)


@dataclass(frozen=True, slots=True)
class LiveParts:
    """Some bars as they sound, layer by layer.

    Parameters
    ----------
    stems
        Under the song's gain; the count-in and other cues beside them.
    bars
        For each bar the frames where it begins and ends.
    notes
        Every note that is played, and the frames where it is struck and damped.
    settled
        As in `LiveSound`.
    """

    stems: Stems
    bars: tuple[tuple[int, int], ...]
    notes: tuple[tuple[TakeNote, int, int], ...]
    settled: bool


@dataclass(frozen=True, slots=True)
class _Edition:
    """A text without mistakes, arranged and ready to be played."""

    number: int
    song: Song
    playing: Playing

    @property
    def arrangement(self) -> Arrangement:
        return self.playing.arrangement


@dataclass(frozen=True, slots=True)
class _Measured:
    """A whole as it was heard: of which edition, and by which sound."""

    edition: int
    sound: str
    whole: WholeHeard


class LiveSong:
    r"""A song that is heard while it is written.

    Any thread may call any method; edits count in the order in which they come in. What `settle` does in one thread
    keeps no other waiting.

    Parameters
    ----------
    options
        How the song is arranged and played.
    path
        The file that the text is of. It isn't read, but messages name it, and the class file and the sound fonts beside
        it hold.
    listener
        Told of pins that are dropped in another key or tuning, and of a sound that has to be measured.

    Examples
    --------
    >>> live = LiveSong()
    >>> live.edit("title: One Bar\nmeter: 2/4\nsections:\n  a: |\n    chords C\n    melody C5 E\n").problems
    ()
    >>> sound = live.hear(OneTrack(bars="1"))
    >>> sound.audio.length_s > 1.0, [bar.bar for bar in sound.bars]
    (True, [1])
    """

    def __init__(
        self,
        options: PlayOptions | None = None,
        path: str | Path | None = None,
        listener: Listener = unheard,
    ) -> None:
        self._options = options or PlayOptions()
        self._path = None if path is None else Path(path)
        self._listener = listener
        self._editing, self._hearing = Lock(), Lock()
        self._edition: _Edition | None = None
        self._measured: dict[Variant, _Measured] = {}
        self._played = LastPlayed(ROOM_BYTES)
        self._shared = Shared(0)

    def edit(self, text: str) -> Arrangement:
        """Take in a text, and return how it is played from now on.

        Raises
        ------
        SongError
            With all mistakes of the text; what was taken in before stays.
        RequestError
            The song can't be moved so far, or has no bars.
        SoundFontError
            The sound that it asks for isn't there.
        """
        with self._editing:
            song = parse_song(text, "song.yaml" if self._path is None else str(self._path))
            source = self._source(song)
            song = in_class(song, source.class_file())
            before = self._edition
            if before is None or before.song != song:
                if self._shared.size > MOST_ASKED:
                    self._shared = Shared(0)
                arrangement = arranged(song, self._options, self._listener, self._shared)
                ready = ReadySet("", "", arrangement, sound_of(source, song, self._options))
                playing = playing_of(ready, self._options, self._listener, threads=THREADS)
                self._edition = _Edition(1 if before is None else before.number + 1, song, playing)
            return self._now().arrangement

    def hear(self, track: OneTrack | str = "") -> LiveSound:
        """Return a track, or some bars of it, of the text that was taken in last.

        Only if nothing has been measured yet, or the sound is another, the whole song is heard first for its balance.

        Parameters
        ----------
        track
            Which one, and which bars: ``OneTrack(bars="5-8")``; its name will do.

        Raises
        ------
        RequestError
            There is no such track, no such bars, or no text yet.
        SynthesiserError, SoundFontError
            The sound can't be had.
        """
        edition = self._now()
        chosen = track if isinstance(track, OneTrack) else OneTrack(track)
        recording = self._recording(edition, chosen)
        balance, settled = self._balance(edition, recording)
        with self._hearing:
            mix, gain_db = mix_and_gain(recording, balance)
        bars = bars_of(recording.plan(0), recording.playing)
        return LiveSound(Audio(mix), bars, settled, gain_db, recording, balance)

    def hear_parts(self, track: OneTrack, *, count_in_bars: int = 0) -> LiveParts:
        """Return a track layer by layer, to be mixed elsewhere: parameters and errors as for `hear`.

        `count_in_bars` are counted before, whatever the song says. Nothing keeps the sum from coming too high.
        """
        edition = self._now()
        recording = self._recording(edition, track, count_in_bars)
        balance, settled = self._balance(edition, recording)
        with self._hearing:
            stems = _parted(recording, balance, gain_under(balance, CEILING_DBTP))
        plan, playing = recording.plan(0), recording.playing
        bars = tuple((start, end) for _, start, end in bar_frames(plan, playing))
        return LiveParts(stems, bars, tuple(note_frames(plan, playing)), settled)

    @property
    def settled(self) -> bool:
        """Whether all that was measured is of the text that was taken in last."""
        edition, found = self._edition, list(self._measured.values())
        return edition is not None and bool(found) and all(each.edition == edition.number for each in found)

    def settle(self) -> bool:
        """Hear the whole song for its balance, if it isn't known; return whether the song is settled then.

        It isn't where another text came in meanwhile. The balance is kept in the user's cache, for commands too.

        Raises
        ------
        RequestError
            There is no text yet.
        SynthesiserError, SoundFontError
            The sound can't be had.
        """
        edition = self._now()
        for variant in list(self._measured) or [("song", False)]:
            self._measure(edition, variant)
        return self.settled

    def _now(self) -> _Edition:
        if self._edition is None:
            raise RequestError("there is nothing to hear yet: take in a text first, with edit")
        return self._edition

    def _source(self, song: Song) -> SongSource:
        return SongSource(song if self._path is None else self._path)

    def _recording(self, edition: _Edition, track: OneTrack, count_in_bars: int | None = None) -> Recording:
        """Return the recording of a track, which is balanced by what was measured elsewhere."""
        song, playing = edition.song, edition.playing
        recipe = track.recipe(song, self._source(song))
        asked = self._options.of_tracks(playing.arrangement.song, speed_of(track.speed), track.bars)
        if count_in_bars is not None:
            asked = replace(asked, count_in_bars=count_in_bars)
        timeline = timeline_of(recipe, playing.piece(recipe.piece), asked)
        return Recording(playing, [timeline], self._played, variants=()).near()

    def _balance(self, edition: _Edition, recording: Recording) -> tuple[Balance, bool]:
        """Return the balance as it was measured last, by this sound, and whether it is of this edition."""
        wholes, settled = {}, True
        sound = edition.playing.sound_identity()
        for variant in recording.needed_variants:
            found = self._measured.get(variant)
            if found is None or found.sound != sound:
                found = self._measure(edition, variant)
            wholes[variant] = found.whole
            settled &= found.edition == edition.number
        return balance_of(wholes), settled

    def _measure(self, edition: _Edition, variant: Variant) -> _Measured:
        """Hear a whole, unless it is known for this edition."""
        with _MEASURING:
            found = self._measured.get(variant)
            if found is None or found.edition != edition.number:
                with TemporaryDirectory(prefix="tercet-") as work:
                    whole = heard_whole(edition.playing, variant, Path(work))
                measured = _Measured(edition.number, edition.playing.sound_identity(), whole)
                if found is None or found.edition < edition.number:
                    self._measured[variant] = measured
                found = measured
            return found


_MEASURING = Lock()
"""One song at a time: memory has room for one that is heard whole."""


def _parted(recording: Recording, balance: Balance, gain_db: float) -> Stems:
    """Return a track layer by layer, its cues beside them; equally long, float32 (frames, 2)."""
    plan = recording.plan(0)
    by_name: dict[StemName, NDArray[np.float32]] = {
        layer: joined(recording.music(0, balance, (layer,)))
        for layer in recording.playing.arrangement.song.layers
    }
    (by_name["cues"],) = add_cues(iter((np.zeros((plan.length_frames, 2), np.float32),)), plan.cues)
    return Stems(SAMPLE_RATE_HZ, by_name, gain_db)
