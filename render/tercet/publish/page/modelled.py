"""The sound of a page that works it out itself: the take as strokes, the strings, and what few sounds are told whole.

Nothing is recorded: the page's script has the same model as the tracks' player (`player/2-strings.js`), and all of its
figures come from here. What is drawn by chance (the skin's noise, the room) and what is measured (how firm a touch
gives a level) is told rather than worked out twice.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tercet.performing import Take, TakeNote
from tercet.performing.any_speed import PieceStrokes
from tercet.performing.free_strings import LONGEST_S, SWELL_S
from tercet.performing.performer import SHORTEST_S
from tercet.performing.string_times import ROLL_LIMIT_S, ROLL_PULSE_S, ROLL_ROOM_PART, ROLL_STEP_RANGE_S
from tercet.performing.timeline import LEAD_S
from tercet.song import LAYERS, Layer
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.model_figures import (
    chop_figures,
    model_figures,
    resonance_figures,
    struck_figures,
    tone_figures,
)
from tercet.sound.plucked import CONTACTS, contact, low_pass_figures
from tercet.sound.room import layer_responses
from tercet.sound.sampler import NotePlayed, UkuleleSampler, chop_played, notes_played
from tercet.sound.schedule import FADE_S, RING_OUT_S
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS
from tercet.sound.struck import FIRST_OF_BAR_RATIO, PEAK, WOOD, beater_noise
from tercet.sound.ukulele_voice import layer_cutoff_hz, string_named
from tercet.theory import Tuning
from tercet.theory.pitch import hz_of_midi
from tercet.tracks.in_memory import PARTS
from tercet.tracks.playing import Playing

__all__ = ["ANY_SPEED_PERCENT", "OF_SOUND", "is_modelled", "modelled_facts", "packed", "string_facts"]

ANY_SPEED_PERCENT = range(40, 125, 5)
"""From which speed to which a page goes, and by which steps, in percent of the song's tempo."""

OF_SOUND = ("take", "model", "rooms", "lowered")
"""Of `modelled_facts`, what a page reads when it begins to make its sound: most of what there is."""

BLOCK_FRAMES, STEP_DB = 16, 0.5
"""Samples that share a height, and the steps in which heights are told: what is lost lies 45 dB below what is there."""


def is_modelled(playing: Playing) -> bool:
    """Return whether a page can work out how a song sounds; else it needs recorded stems."""
    return isinstance(playing.synthesiser, UkuleleSampler) and not playing.loud


def modelled_facts(
    playing: Playing,
    take: Take,
    gains_db: Mapping[Layer, float],
    length_s: float,
    lowered_db: Mapping[str, float] | None = None,
) -> dict[str, Any]:
    """Return what the page's script plays a song from.

    Parameters
    ----------
    playing
        The song being played.
    take
        All of it at full speed, without a count-in.
    gains_db
        Of each layer.
    length_s
        Of its sound, the ringing end and the room included.
    lowered_db
        By how much the song is softer at some speeds, in percent, so that it doesn't clip; none of them without it.
    """
    strings = _Strings(take, playing)
    return {
        "take": {
            **_take_facts(playing.strokes(), take, strings),
            "tail": length_s - take.length_s,
            "rings": strings.rings,
            "tones": [tone_figures(name, fret) for name, fret in strings.tones],
            "resonances": strings.resonances,
        },
        "model": {
            **model_figures(),
            "contacts": [packed(contact(which, SAMPLE_RATE_HZ)) for which in range(CONTACTS)],
            "chops": chop_figures(),
            "knocks": {
                "wood": struck_figures(WOOD, PEAK),
                "higher": FIRST_OF_BAR_RATIO,
                "noise": packed(beater_noise(round(WOOD.length_s * SAMPLE_RATE_HZ), SAMPLE_RATE_HZ)),
            },
        },
        "rooms": {}
        if playing.dry
        else {layer: list(map(packed, layer_responses(layer))) for layer in gains_db},
        "lowered": sorted([float(percent), by_db] for percent, by_db in (lowered_db or {}).items()),
        "sounding": {
            name: {"number": number, **_part_sound(part.layer, gains_db[part.layer])}
            for number, (name, part) in enumerate(PARTS.items())
            if part.layer in gains_db
        },
    }


def _part_sound(layer: Layer, gain_db: float) -> dict[str, Any]:
    """Return how a part is heard: its gain, and its low-pass if it has one."""
    cutoff_hz = layer_cutoff_hz(LAYERS.index(layer))
    return {
        "gain": round(10.0 ** (gain_db / 20.0), 6),
        "low_pass": cutoff_hz and low_pass_figures(cutoff_hz, SAMPLE_RATE_HZ),
    }


class _Strings:
    """The tones and resonances that a take needs."""

    def __init__(self, take: Take, playing: Playing) -> None:
        self.played = notes_played(take.notes)
        tones = dict.fromkeys((note.name, note.fret) for note in self.played if note is not None)
        self.tones = tuple(tones)
        tuning = playing.arrangement.tuning
        self.open_midis = {string: tuning.open_midi(string) for string in range(1, 5)}
        self.resonances: list[list[list[float]]] = []
        self.rings = [dict(self._rings(name, fret)) for name, fret in self.tones]

    def _rings(self, name: str, fret: int) -> Any:
        """Yield the strings that ring along with a tone, and which of the resonances that is."""
        for string, open_midi in self.open_midis.items():
            other = string_named(string, open_midi)
            meetings = resonance_figures(
                name, fret, other, open_midi - STRINGS_OF_INSTRUMENTS[other].open_midi
            )
            if meetings:
                self.resonances.append(meetings)
                yield str(string), len(self.resonances) - 1

    def tone(self, played: NotePlayed) -> int:
        """Return which tone a note is."""
        return self.tones.index((played.name, played.fret))


def _take_facts(strokes: PieceStrokes, take: Take, strings: _Strings) -> dict[str, Any]:
    parts = list(PARTS)
    rows = []
    for note, stroke, played in zip(take.notes, strokes.strings, strings.played, strict=True):
        stops = note.action == "chop" or note.midi != strings.open_midis[note.string]
        tone = -1 if played is None else strings.tone(played)
        end = -1 if stroke.end_s is None else _microseconds(stroke.end_s)
        sound = _chop_row(note, take.notes) if played is None else _sound_row(played)
        rows.append(
            [
                stroke.gesture,
                stroke.place,
                end,
                note.string,
                int(stops),
                tone,
                parts.index(_part_of(note)),
                *sound,
            ]
        )
    return {
        "beat": strokes.beat_s,
        "pulse": strokes.pulse_s,
        "lead": LEAD_S,
        "shortest": SHORTEST_S,
        "ring_out": RING_OUT_S,
        "fade": FADE_S,
        "ring": {"longest": LONGEST_S, "least": SWELL_S},
        "roll": {
            "range": ROLL_STEP_RANGE_S,
            "limit": ROLL_LIMIT_S,
            "usual": ROLL_PULSE_S,
            "part": ROLL_ROOM_PART,
        },
        "bars": list(map(_microseconds, strokes.bars_s)),
        "gestures": [
            [
                _microseconds(each.onset_s),
                _microseconds(each.late_s),
                _microseconds(each.step_s),
                each.part,
                int(each.roll),
                int(each.second),
                *(round(part, 5) for part in each.uneven),
            ]
            for each in strokes.gestures
        ],
        "strings": rows,
    }


def _part_of(note: TakeNote) -> str:
    """Return the part of `PARTS` that a note belongs to."""
    return "tune" if note.layer == "between" and note.part == "tune" else note.layer


def _sound_row(played: NotePlayed) -> list[float]:
    touches = (played.soft, played.firm, played.aside)
    return [
        *(float(f"{part:.5g}") for part in touches),
        round(played.skin, 4),
        played.contact,
        played.delay_frames,
    ]


def _chop_row(note: TakeNote, notes: Sequence[TakeNote]) -> list[float]:
    """Return how a chop is played, with its first string alone: the hand's movement is one sound."""
    movement = sorted(
        (each for each in notes if each.gesture == note.gesture), key=lambda each: (each.onset_s, each.string)
    )
    if note is not movement[0]:
        return [0.0, 0.0, 0.0, 0.0, 0, 0]
    played = chop_played(max(each.level_db for each in movement))
    up = movement[0].string < movement[-1].string
    return [float(f"{played.amplitude:.5g}"), 0.0, 0.0, 0.0, 2 * played.strength + up, 0]


def string_facts(tuning: Tuning, *, modelled: bool) -> list[dict[str, Any]]:
    """Return the open strings for a tuner, from string 4 on: number, name, Hz, its tone on a page with the model."""
    facts = []
    for string, pitch in zip((4, 3, 2, 1), tuning.open_pitches, strict=True):
        hz = hz_of_midi(pitch.midi)
        facts.append({"string": string, "name": pitch.name, "hz": round(hz, 4)})
        if modelled:
            name = string_named(string, pitch.midi)
            fret = pitch.midi - STRINGS_OF_INSTRUMENTS[name].open_midi
            facts[-1]["tone"] = {**tone_figures(name, fret), "hz": hz}
    return facts


def packed(sound: NDArray[np.float64]) -> dict[str, Any]:
    """Return a sound (frames,) as text: for each `BLOCK_FRAMES` a byte for its height, then a byte a sample."""
    frames = len(sound)
    blocks = np.zeros((-(-frames // BLOCK_FRAMES), BLOCK_FRAMES))
    blocks.ravel()[:frames] = sound
    heights = np.abs(blocks).max(axis=1)
    highest = float(heights.max())
    with np.errstate(divide="ignore"):
        down = np.floor(-20.0 * np.log10(heights / highest) / STEP_DB)
    down = np.clip(down, 0, 255).astype(np.uint8)
    told = highest * 10.0 ** (-STEP_DB * down / 20.0)
    steps = np.clip(np.round(127.0 * blocks / told[:, None]), -127, 127).astype(np.int8)
    rows = np.concatenate([down[:, None], steps.view(np.uint8)], axis=1)
    text = base64.b64encode(rows.tobytes()).decode("ascii")
    return {"text": text, "block": BLOCK_FRAMES, "frames": frames, "db": STEP_DB, "highest": highest}


def _microseconds(seconds: float) -> int:
    return round(1e6 * seconds)
