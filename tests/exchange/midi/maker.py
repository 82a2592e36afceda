"""MIDI files as other programs write them, with what they mean known: tunes made up from a seed, written byte by byte.

Nothing of Tercet takes part. `made(seed, played=...)` returns the bytes and the truth: notes in quarters, words, meter.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction

METERS = ((4, 4), (3, 4), (2, 4), (6, 8), (9, 8), (12, 8), (2, 2), (5, 4), (7, 8), (3, 8))
DIVISIONS = (96, 120, 192, 240, 384, 480, 960)
MAJOR = (0, 2, 4, 5, 7, 9, 11)
VERSE = [
    "Cop-per",
    "ket-tle",
    "by",
    "the",
    "win-dow",
    "sings",
    "a",
    "morn-ing",
    "tune",
    "to",
    "me",
    "while",
    "the",
    "bread",
    "is",
    "slow-ly",
    "ris-ing",
    "and",
    "the",
    "cat",
    "looks",
    "out",
    "to",
    "sea",
    "o",
    "the",
    "lan-tern",
    "on",
    "the",
    "land-ing",
    "burns",
    "as",
    "low",
    "as",
    "low",
    "can",
    "be",
]
CONVENTIONS = (
    "spaces after",
    "spaces before",
    "hyphens",
    "hyphens and spaces",
    "bare",
    "slashes",
    "karaoke",
    "none",
)

STRIKE = 2
"""Order of a note's start among the events at one place."""

_CELLS: dict[str, tuple[tuple[Fraction | int, ...], ...]] = {
    "plain": ((1,), (1,), (2,), (Fraction(1, 2), Fraction(1, 2)), (Fraction(3, 2), Fraction(1, 2)), (1,)),
    "fine": (
        (1,),
        (Fraction(1, 4),) * 4,
        (Fraction(1, 2), Fraction(1, 4), Fraction(1, 4)),
        (Fraction(3, 4), Fraction(1, 4)),
        (Fraction(1, 3),) * 3,
        (Fraction(2, 3), Fraction(1, 3)),
    ),
    "compound": (
        (Fraction(3, 2),),
        (1, Fraction(1, 2)),
        (Fraction(1, 2),) * 3,
        (Fraction(3, 4), Fraction(1, 4), Fraction(1, 2)),
    ),
}  # fmt: skip


Event = tuple[Fraction, int, bytes]
"""Place in quarters, order at that place, bytes."""

Ticks = Callable[[Fraction], int]


@dataclass
class Truth:
    """What a file means: notes (key, onset, length) in quarters, their words, whether each goes on within its word."""

    notes: list[tuple[int, Fraction, Fraction]] = field(default_factory=list)
    words: list[tuple[str, bool]] = field(default_factory=list)
    meter: tuple[int, int] = (4, 4)
    convention: str = "none"
    told: str = ""
    swung: bool = False

    @property
    def on_eighths(self) -> bool:
        """Return whether every note starts on an eighth: only then may it be swung."""
        return all((2 * onset).denominator == 1 for _, onset, _ in self.notes)

    @property
    def from_the_first(self) -> list[tuple[int, Fraction, Fraction]]:
        """Return the notes with onsets from the first one's."""
        first = self.notes[0][1]
        return [(midi, onset - first, length) for midi, onset, length in self.notes]


def made(seed: int, *, played: bool = False, convention: str = "") -> tuple[bytes, Truth]:
    """Return a file and what it means; `played` places notes as players do, instead of on ticks."""
    chance = random.Random(seed)  # noqa: S311 - made-up tunes
    truth = _tune(chance)
    truth.convention = convention or chance.choice(CONVENTIONS)
    division = chance.choice(DIVISIONS)
    tempo = chance.randint(40, 220) if not played else chance.randint(60, 160)
    frames = chance.random() < 0.08 and not played
    ends = chance.choice(("exact", "short", "long"))
    swing = played and chance.random() < 0.5 and truth.meter[1] == 4 and truth.on_eighths
    truth.swung = swing
    how = f"{'in film frames' if frames else ''}{'swung' if swing else ''}"
    truth.told = f"{truth.meter} {division} {tempo} {ends} {truth.convention} {how}"
    ticks = _ticks(division, tempo, frames=frames)
    melody = _events(truth, chance, ends, tempo, played=played, swing=swing)
    words = _lyrics(truth, [start for start, order, _ in melody if order == STRIKE])
    chords, bass, drums = _band(truth)
    head = _head(truth, tempo, chance)
    kind = chance.choice((0, 1, 1))
    own_words = chance.random() < 0.5 and truth.convention != "karaoke"
    name = chance.choice(("Voice", "", "Piano", "Track 2", "MELODY"))
    if kind == 0:
        tracks = [_track("Kettle", [*head, *melody, *words, *chords, *bass, *drums], ticks, chance)]
    else:
        tracks = [_track("Kettle", [*head, *([] if own_words else words)], ticks, chance)]
        band = [
            ("Bass", bass),
            (name, [*melody, *(words if own_words else [])]),
            ("Guitar", chords),
            ("Drums", drums),
        ]
        if chance.random() < 0.3:
            band = band[1:2]
        tracks += [_track(title, events, ticks, chance) for title, events in band]
    said = len(tracks)
    chunks = [b"MTrk" + struct.pack(">I", len(track)) + track for track in tracks]
    if chance.random() < 0.3:
        chunks.insert(chance.randint(0, len(chunks)), b"XFIH" + struct.pack(">I", 5) + b"extra")
    header = struct.pack(">IHHH", 6, kind, said, 0xE728 if frames else division)
    tail = b"\x00\x01junk" if chance.random() < 0.2 else b""
    return b"MThd" + header + b"".join(chunks) + tail, truth


def _tune(chance: random.Random) -> Truth:
    truth = Truth(meter=chance.choice(METERS))
    upper, lower = truth.meter
    bar = Fraction(4 * upper, lower)
    cells = _CELLS["compound" if lower == 8 and upper % 3 == 0 else chance.choice(("plain", "fine"))]
    if lower == 2:
        cells = _CELLS["plain"]
    key, step, now = chance.randint(55, 66), chance.randint(0, 9), Fraction(0)
    pickup = chance.choice((0, 0, 1)) * Fraction(1, 1 if lower <= 4 else 2)
    if pickup:
        truth.notes.append((_pitch(key, step), Fraction(0), pickup))
        now = pickup
    for _ in range(chance.choice((8, 12, 16))):
        end = now + bar
        while now < end:
            for wanted in chance.choice(cells):
                length: Fraction = min(wanted * Fraction(1), end - now)
                if not length:
                    break
                step = min(max(step + chance.choice((-2, -1, -1, 0, 1, 1, 2)), 0), 12)
                rests = chance.random() < 0.06 and length >= Fraction(1, 2) and truth.notes
                if not rests:
                    truth.notes.append((_pitch(key, step), now, length))
                now += length
    truth.words = [(word, joined) for syllables in VERSE for word, joined in _split(syllables)]
    pickup_bar = bar - pickup if pickup else Fraction(0)
    truth.notes = [(midi, at + pickup_bar, length) for midi, at, length in truth.notes]
    return truth


def _split(word: str) -> list[tuple[str, bool]]:
    parts = word.split("-")
    return [(part, index < len(parts) - 1) for index, part in enumerate(parts)]


def _pitch(key: int, step: int) -> int:
    return key + 12 * (step // 7) + MAJOR[step % 7]


def _ticks(division: int, tempo: int, *, frames: bool) -> Ticks:
    if not frames:
        return lambda quarter: round(quarter * division)
    return lambda quarter: round(quarter * 60 * 25 * 40 / tempo)


def _events(
    truth: Truth, chance: random.Random, ends: str, tempo: int, *, played: bool, swing: bool
) -> list[Event]:
    events: list[Event] = []
    second = Fraction(tempo, 60)
    for index, (midi, at, length) in enumerate(truth.notes):
        start, end = Fraction(at), at + length
        follows = index + 1 < len(truth.notes) and truth.notes[index + 1][1] == end
        if ends == "short":
            end = at + length * Fraction(9, 10)
        elif ends == "long" and follows and truth.notes[index + 1][0] != midi:
            end = end + min(length, truth.notes[index + 1][2]) / 8
        if swing:
            start = _swung(start)
        if played:
            start = max(
                start + Fraction(round(chance.uniform(-0.02, 0.02) * 10**6), 10**6) * second, Fraction(0)
            )
            end = max(end, start + Fraction(1, 20))
        events += [(start, STRIKE, bytes([0x90, midi, 90])), (end, 1, _off(chance, 0, midi))]
    return events


def _swung(at: Fraction) -> Fraction:
    beat, within = at // 1, at % 1
    return beat + (
        within * Fraction(4, 3)
        if within < Fraction(1, 2)
        else Fraction(2, 3) + (within - Fraction(1, 2)) * Fraction(2, 3)
    )


def _off(chance: random.Random, channel: int, midi: int) -> bytes:
    return bytes([0x90 | channel, midi, 0]) if chance.random() < 0.5 else bytes([0x80 | channel, midi, 64])


def _lyrics(truth: Truth, starts: list[Fraction]) -> list[Event]:
    if truth.convention == "none":
        truth.words = []
        return []
    events: list[Event] = []
    truth.words = truth.words[: len(truth.notes)]
    if truth.words[-1][1]:
        truth.words[-1] = (truth.words[-1][0], False)
    before_joined = False
    for index, ((word, joined), at) in enumerate(zip(truth.words, starts, strict=False)):
        line = index % 9 == 0 and not before_joined
        text = {
            "spaces after": word + ("" if joined else " "),
            "spaces before": ("" if before_joined else " ") + word,
            "hyphens": word + ("-" if joined else ""),
            "hyphens and spaces": word + ("-" if joined else " "),
            "bare": word,
            "slashes": ("/" if line else "") + word + ("" if joined else " "),
            "karaoke": ("\\" if line else "") + ("" if before_joined or line else " ") + word,
        }[truth.convention]
        kind = 0x01 if truth.convention == "karaoke" else 0x05
        events.append((at, 0, _meta(kind, text.encode())))
        before_joined = joined
    if truth.convention == "karaoke":
        events += [(Fraction(0), 0, _meta(0x01, text)) for text in (b"@KMIDI KARAOKE FILE", b"@TKettle Song")]
    return events


def _band(truth: Truth) -> tuple[list[Event], list[Event], list[Event]]:
    end = max(at + length for _, at, length in truth.notes)
    bar = Fraction(4 * truth.meter[0], truth.meter[1])
    chords: list[Event] = []
    bass: list[Event] = []
    drums: list[Event] = []
    at = Fraction(0)
    while at < end:
        for key in (48, 52, 55):
            chords += [(at, 2, bytes([0x93, key, 60])), (at + bar, 1, bytes([0x83, key, 0]))]
        bass += [(at, 2, bytes([0x92, 36, 80])), (at + bar / 2, 1, bytes([0x92, 36, 0]))]
        drums += [(at, 2, bytes([0x99, 38, 80])), (at + Fraction(1, 4), 1, bytes([0x89, 38, 0]))]
        at += bar
    return chords, bass, drums


def _head(truth: Truth, tempo: int, chance: random.Random) -> list[Event]:
    upper, lower = truth.meter
    start = Fraction(0)
    head = [
        (start, 0, _meta(0x58, bytes([upper, lower.bit_length() - 1, 24, 8]))),
        (start, 0, _meta(0x51, round(60_000_000 / tempo).to_bytes(3, "big"))),
    ]
    if chance.random() < 0.3:
        head.append((start, 0, _meta(0x59, bytes([chance.choice((8, 0x80, 0x40)), 0]))))
    if chance.random() < 0.3:
        head.append((start, 0, _meta(chance.choice((0x58, 0x51, 0x59, 0x06, 0x7F, 0x21)), b"")))
    if chance.random() < 0.3:
        head.append((start, 0, b"\xf0" + bytes([4, 0x7E, 0x7F, 9, 0xF7])))
    return head


def _meta(kind: int, data: bytes) -> bytes:
    return bytes([0xFF, kind]) + _number(len(data)) + data


def _number(value: int) -> bytes:
    digits = [value & 0x7F]
    while value := value >> 7:
        digits.insert(0, value & 0x7F | 0x80)
    return bytes(digits)


def _track(name: str, events: list[Event], ticks: Ticks, chance: random.Random) -> bytes:
    """Return the bytes of a track, half of them with running status."""
    running_allowed = chance.random() < 0.5
    parts = [_number(0) + _meta(0x03, name.encode())] if name else []
    now, running = 0, 0
    for at, _, message in sorted(events, key=lambda event: (ticks(event[0]), event[1])):
        tick = ticks(at)
        parts.append(_number(tick - now))
        parts.append(message[1:] if running_allowed and message[0] == running else message)
        running = message[0] if message[0] < 0xF0 else 0
        now = tick
    return b"".join(parts) + b"\x00\xff\x2f\x00"
