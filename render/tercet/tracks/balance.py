"""How the layers of a song are balanced as they are heard, and how loud its demo is: measured once, for all its tracks.

Strings that sound together don't add up quite as their powers do, and the 400 ms of one gesture hold the end of the one
before and the start of the next. What that makes of a layer's median gesture, compared with the melody's, is measured
in the whole song at full speed and taken back: a *trim* of 0.1 to 2 dB for each layer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from statistics import median

from tercet.song import LAYERS, Layer
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.calibration import SILENT_LUFS
from tercet.sound.k_weighting import GESTURE_S
from tercet.sound.loudness import TARGET_LUFS
from tercet.tracks.clips.performed import Performed, PlacedNote
from tercet.tracks.easing import LOUD_LUFS, MOST_DB, Easing
from tercet.tracks.layer_levels import LayerLevels
from tercet.tracks.timelines import Piece

__all__ = [
    "FINER_DB",
    "Balance",
    "Variant",
    "WholeHeard",
    "balance_of",
    "chosen_gestures",
    "gesture_spans",
    "layer_trims_db",
]

MOST_MEASURED = 128
"""Gestures of a layer that are measured at most, chosen evenly over the song."""

FINER_DB = 0.02
"""What stays free under a ceiling, for meters that look more finely between the samples than ours."""

TELLING_LACK_DB = 0.5
"""A flat song that is softer than its demo by less isn't worth a word."""

_SILENCE_DBTP = -120.0

Variant = tuple[Piece, bool]
"""A whole that is measured: which piece, and whether it is played flat."""


@dataclass(frozen=True, slots=True)
class WholeHeard:
    """What was heard of a whole song at full speed, layered or flat: its trims, and its loudness and peak with them.

    Parameters
    ----------
    trims_db
        Of each layer.
    lufs
        0 for silence, which no gain makes louder.
    peak_dbtp
        The highest of the whole, and of each of its layers alone or left out; minus infinity for silence.
    easing
        What lowers its peaks, where it is to be loud or is played flat.
    levels
        What mixes of its layers needn't be measured by; None if that isn't known any more.
    """

    trims_db: Mapping[Layer, float]
    lufs: float
    peak_dbtp: float
    easing: Easing | None = None
    levels: LayerLevels | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Balance:
    """What all tracks of a song share.

    Parameters
    ----------
    trims_db
        For each variant (piece, flat) the trim of each layer; those that aren't named have none.
    flat_gain_db, flat_lack_db
        What makes the flat song as loud as the layered one, and how much of that a track of it alone has no room for,
        its peaks eased; 0 where nothing is flat.
    demo_lufs, demo_peak_dbtp
        The demo at full speed, trims included, before any gain; the peak as in `WholeHeard`.
    easing, flat_easing
        What lowers the peaks of all tracks, where the song is to be loud (the peak is the one before it); and of the
        flat song, where it wouldn't have room else.
    levels
        Of each variant of which they are known, as in `WholeHeard`.
    """

    trims_db: Mapping[Variant, Mapping[Layer, float]]
    flat_gain_db: float
    flat_lack_db: float
    demo_lufs: float
    demo_peak_dbtp: float
    easing: Easing | None = None
    flat_easing: Easing | None = None
    levels: Mapping[Variant, LayerLevels] = field(default_factory=dict, compare=False)

    def notices(self) -> tuple[str, ...]:
        """Return what the user should know; a sentence each."""
        if self.flat_lack_db < TELLING_LACK_DB:
            return ()
        softer = (
            f"played flat, the song stays {self.flat_lack_db:.1f} dB softer than its demo: any louder, its strokes "
            "would clip"
        )
        return (softer,)

    def gain_db(self, ceiling_dbtp: float) -> float:
        """Return the gain that the demo asks for: to a loudness, or less if its true peak would come too high."""
        if self.demo_peak_dbtp < _SILENCE_DBTP:
            return 0.0
        target_lufs = TARGET_LUFS if self.easing is None else LOUD_LUFS
        return min(target_lufs - self.demo_lufs, self.most_gain_db(ceiling_dbtp))

    def most_gain_db(self, ceiling_dbtp: float) -> float:
        """Return the gain with which the demo and its layers just stay under a ceiling."""
        return ceiling_dbtp - FINER_DB - max(_highest_dbtp(self.demo_peak_dbtp, self.easing), _SILENCE_DBTP)


def balance_of(wholes: Mapping[Variant, WholeHeard]) -> Balance:
    """Return what all tracks of a song share, from what was heard of it: layered, and flat if anything is flat."""
    demo, flat = wholes["song", False], wholes.get(("song", True))
    gain_db = lack_db = 0.0
    easing = None
    if flat is not None:
        gain_db = demo.lufs - flat.lufs
        room_dbtp = _highest_dbtp(demo.peak_dbtp, demo.easing) - gain_db
        easing = flat.easing if flat.peak_dbtp > room_dbtp else None
        lack_db = max(_highest_dbtp(flat.peak_dbtp, easing) - room_dbtp, 0.0)
    trims_db = {variant: whole.trims_db for variant, whole in wholes.items()}
    levels = {variant: whole.levels for variant, whole in wholes.items() if whole.levels is not None}
    return Balance(trims_db, gain_db, lack_db, demo.lufs, demo.peak_dbtp, demo.easing, easing, levels)


def _highest_dbtp(peak_dbtp: float, easing: Easing | None) -> float:
    """Return what is left of a peak."""
    return peak_dbtp if easing is None else peak_dbtp - MOST_DB


def chosen_gestures(performed: Performed, layer: Layer) -> tuple[PlacedNote, ...]:
    """Return the first notes of gestures of a layer, chops aside, in order of onset: all, or evenly chosen ones."""
    firsts: dict[int, PlacedNote] = {}
    for placed in sorted(performed.notes, key=lambda each: each.onset_frame):
        if placed.note.layer == layer and placed.note.action != "chop":
            firsts.setdefault(placed.note.gesture, placed)
    found = list(firsts.values())
    count = min(len(found), MOST_MEASURED)
    return tuple(found[place * len(found) // count] for place in range(count))


def gesture_spans(frames: Iterable[int], length_frames: int) -> list[tuple[int, int]]:
    """Return the `GESTURE_S` from each of some frames on, from which frame up to which.

    Parameters
    ----------
    frames
        In any order; one that lies too near the end is moved back by as much.
    length_frames
        Of what they lie in.
    """
    window = round(GESTURE_S * SAMPLE_RATE_HZ)
    starts = (max(min(frame, length_frames - window), 0) for frame in frames)
    return [(start, start + window) for start in starts]


def layer_trims_db(
    heard: Mapping[Layer, Iterable[tuple[float, float]]], front_lu: float | None
) -> dict[Layer, float]:
    """Return the trim of each layer.

    Parameters
    ----------
    heard
        For gestures of each layer, their level in LUFS as heard and the level in dB that their marks ask for.
    front_lu
        How far the median gesture of the strums is to lie under that of the melody; as marked without it.
    """
    found = {
        layer: [(level, mark) for level, mark in heard.get(layer, ()) if level > SILENT_LUFS]
        for layer in LAYERS
    }
    over_marks = {
        layer: median(level - mark for level, mark in gestures)
        for layer, gestures in found.items()
        if gestures
    }
    if "melody" not in over_marks:
        return dict.fromkeys(LAYERS, 0.0)
    trims = {layer: over_marks["melody"] - over_marks.get(layer, over_marks["melody"]) for layer in LAYERS}
    if front_lu is not None and found["strums"]:
        front, back = (median(level for level, _ in found[layer]) for layer in ("melody", "strums"))
        trims["strums"] = front - back - front_lu
    return {layer: round(trim_db, 2) for layer, trim_db in trims.items()}
