"""What a sound font is like for this job: measured through FluidSynth, in figures and in words for the teacher.

Front and back live on loudness and brightness that follow the touch, on keys that are alike, and on strings that ring
as strings do. Each of that is a figure here, beside what it means in class.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.fluid import GRID_FRAMES, render_strokes
from tercet.sound.note_measures import centroid_hz, cents_sharp, k_weighted_level_db, onset_delay_s
from tercet.sound.schedule import Stroke
from tercet.sound.sf2_reader import SoundFont

__all__ = [
    "FontReport",
    "KeyFigures",
    "Verdict",
    "report_json",
    "report_on",
    "report_svg",
    "report_text",
    "verdicts",
]

KEYS = tuple(range(60, 85))
"""C4 to C6: what a ukulele plays up to the twelfth fret and a little above."""

CURVE_KEYS = (60, 67, 72, 79)
CURVE_VELOCITIES = (1, *range(8, 128, 7))
"""Keys and velocities of the curves of loudness and brightness; the last velocity is 127."""

KEY_VELOCITY = 96
KEY_LENGTH_S, CURVE_LENGTH_S, REST_S = 2.4, 0.45, 0.25
EARLY_S = (0.05, 0.45)
ENVELOPE_S = 0.03

REPLUCK_MOMENTS = 12
REPLUCK_KEY = 69
CLICK_WINDOW_S = 0.01
TREBLE_HZ = 5_000.0

QUIETEST_DB = -120.0


@dataclass(frozen=True, slots=True)
class KeyFigures:
    """One key at velocity 96: level in LUFS, centroid in Hz, cents sharp, early T60 in s, delay until heard in s."""

    midi: int
    level_lufs: float
    centroid_hz: float
    cents_sharp: float
    t60_s: float
    delay_s: float


@dataclass(frozen=True, slots=True)
class FontReport:
    """What was measured of a font.

    Parameters
    ----------
    name
        The font and its preset.
    keys
        From C4 to C6.
    velocities
        Those of the curves.
    levels_db
        Level at each velocity against the loudest, the median of `CURVE_KEYS`.
    brightness
        Centroid at each velocity against the softest, the median of the same.
    click_db
        The most that a stroke on a ringing string has above 5 kHz beyond one from silence.
    silence_dbfs
        Level of what is heard 250 ms after every note has ended.
    """

    name: str
    keys: tuple[KeyFigures, ...]
    velocities: tuple[int, ...]
    levels_db: tuple[float, ...]
    brightness: tuple[float, ...]
    click_db: float
    silence_dbfs: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """One thing that was measured: its name, its figures in words, whether it is good enough, and what that means."""

    what: str
    figures: str
    good: bool
    meaning: str


def report_on(font: SoundFont, name: str) -> FontReport:
    """Measure a font; about a second.

    Raises
    ------
    SynthesiserError, SoundFontError
        The library is missing, or the font is damaged or lacks keys.
    """
    sounds, silence_dbfs = _notes(font, [(midi, KEY_VELOCITY) for midi in KEYS], KEY_LENGTH_S)
    curve = [(midi, velocity) for midi in CURVE_KEYS for velocity in CURVE_VELOCITIES]
    touched, _ = _notes(font, curve, CURVE_LENGTH_S)
    shape = (len(CURVE_KEYS), len(CURVE_VELOCITIES))
    levels = np.array([k_weighted_level_db(each, SAMPLE_RATE_HZ) for each in touched]).reshape(shape)
    bright = np.array([centroid_hz(each, SAMPLE_RATE_HZ) for each in touched]).reshape(shape)
    bright = np.maximum(bright, 1.0)
    return FontReport(
        name=name,
        keys=tuple(_key_figures(midi, sound) for midi, sound in zip(KEYS, sounds, strict=True)),
        velocities=CURVE_VELOCITIES,
        levels_db=tuple(map(float, np.median(levels - levels[:, -1:], axis=0))),
        brightness=tuple(map(float, np.median(bright / bright[:, :1], axis=0))),
        click_db=_click_db(font),
        silence_dbfs=silence_dbfs,
    )


def verdicts(report: FontReport) -> tuple[Verdict, ...]:
    """Return what the figures mean for a teacher, in the order of the table."""
    cents = [key.cents_sharp for key in report.keys]
    levels = [key.level_lufs for key in report.keys]
    low, high = report.keys[0], report.keys[12]
    steps = np.diff(report.levels_db) / np.diff(report.velocities)
    span, brighter, spread = -report.levels_db[0], report.brightness[-1], max(levels) - min(levels)
    delays = [1000.0 * key.delay_s for key in report.keys]
    furthest, rising = max(map(abs, cents)), bool((steps > 0.0).all())
    return (
        _verdict("tuning", f"{min(cents):+.1f} to {max(cents):+.1f} cents", furthest <= 3.0,
                 "unisons and octaves are clean", "chords beat; Tercet takes whole cents of it back"),
        _verdict("loudness", f"{span:.0f} dB from softest to firmest", 24.0 <= span <= 60.0 and rising,
                 "front and back lie well apart", "marks are squeezed together, or some steps can't be heard"),
        _verdict("brightness", f"grows {brighter:.1f} times", brighter >= 1.5,
                 "soft is darker, loud is brighter: layers differ in tone too",
                 "a soft note is only a quieter loud note: front and back differ in level alone"),
        _verdict("evenness", f"{spread:.1f} dB from key to key", spread <= 3.0,
                 "a tune keeps its line", "some notes of a tune stick out or sink"),
        _verdict("ring", f"T60 {low.t60_s:.1f} s at C4, {high.t60_s:.1f} s at C5", 0.8 <= high.t60_s < low.t60_s <= 5.0,
                 "it rings as a ukulele does, lower notes longer", "held notes die too soon or pile up"),
        _verdict("onset", f"heard after {min(delays):.1f} to {max(delays):.1f} ms", max(delays) <= 8.0,
                 "rolls keep their pace; Tercet takes the delay back", "soft attacks blur a roll"),
        _verdict("clicks", f"{report.click_db:+.1f} dB above 5 kHz when struck again", report.click_db <= 3.0,
                 "repeated notes are clean", "repeated notes click"),
        _verdict("silence", f"{report.silence_dbfs:.0f} dBFS after the end", report.silence_dbfs <= -80.0,
                 "rests are silent", "something goes on sounding in the rests"),
    )  # fmt: skip


def report_text(report: FontReport) -> str:
    """Return the table as text."""
    rows = [f"{report.name}, measured through FluidSynth", ""]
    for verdict in verdicts(report):
        rows.append(f"{'good' if verdict.good else 'weak':<5} {verdict.what:<11} {verdict.figures}")
        rows.append(f"{'':<18}{verdict.meaning}")
    rows += ["", "key    level    centroid   cents    T60    heard after"]
    rows += [
        f"{key.midi:<4} {key.level_lufs:>6.1f} LUFS {key.centroid_hz:>6.0f} Hz {key.cents_sharp:>+7.2f} "
        f"{key.t60_s:>6.2f} s {1000.0 * key.delay_s:>7.1f} ms"
        for key in report.keys
    ]
    rows += ["", "velocity  loudness  brightness"]
    rows += [
        f"{velocity:<8} {level:>7.1f} dB {bright:>9.2f}"
        for velocity, level, bright in zip(
            report.velocities, report.levels_db, report.brightness, strict=True
        )
    ]
    return "\n".join(rows)


def report_json(report: FontReport) -> dict[str, Any]:
    """Return the report for programs, the verdicts with it."""
    return {**asdict(report), "verdicts": [asdict(verdict) for verdict in verdicts(report)]}


def _verdict(what: str, figures: str, good: bool, if_good: str, if_weak: str) -> Verdict:
    return Verdict(what, figures, bool(good), if_good if good else if_weak)


def _notes(
    font: SoundFont, notes: list[tuple[int, int]], length_s: float
) -> tuple[NDArray[np.float64], float]:
    """Return each note (key, velocity) alone, (notes, frames), and the level of the rests between them in dBFS."""
    length = _grid(length_s)
    pace = length + _grid(2 * REST_S)
    strokes = [
        Stroke(pace * place, pace * place + length, 1, 0, midi, velocity)
        for place, (midi, velocity) in enumerate(notes)
    ]
    (sound,) = render_strokes(font, strokes, pace * len(notes), 1, {})
    apart = sound.sum(axis=1, dtype=np.float64).reshape(len(notes), pace)
    rest = np.abs(apart[:, length + _grid(REST_S) :]).max()
    return apart[:, :length], float(max(20.0 * np.log10(rest + 1e-12), QUIETEST_DB))


def _key_figures(midi: int, sound: NDArray[np.float64]) -> KeyFigures:
    mono = sound.astype(np.float32)
    return KeyFigures(
        midi=midi,
        level_lufs=k_weighted_level_db(sound, SAMPLE_RATE_HZ),
        centroid_hz=centroid_hz(sound, SAMPLE_RATE_HZ),
        cents_sharp=cents_sharp(mono, midi, SAMPLE_RATE_HZ),
        t60_s=_t60_s(sound),
        delay_s=onset_delay_s(mono, SAMPLE_RATE_HZ),
    )


def _t60_s(sound: NDArray[np.float64]) -> float:
    """Return the early T60: a straight line through the level in dB from 50 to 450 ms; 99 if it doesn't fall."""
    hop = round(ENVELOPE_S * SAMPLE_RATE_HZ / 2)
    first, last = (round(moment * SAMPLE_RATE_HZ) for moment in EARLY_S)
    blocks = sound[first : first + (last - first) // hop * hop].reshape(-1, hop)
    levels = 10.0 * np.log10((blocks**2).mean(axis=1) + 1e-20)
    slope = float(np.polyfit(np.arange(len(levels)) * hop / SAMPLE_RATE_HZ, levels, 1)[0])
    return min(-60.0 / slope, 99.0) if slope < 0.0 else 99.0


def _click_db(font: SoundFont) -> float:
    """Return the largest excess above 5 kHz of a stroke on a ringing string over one from silence, in dB."""
    pace, before = _grid(1.6), _grid(0.4)
    window = round(CLICK_WINDOW_S * SAMPLE_RATE_HZ)
    strokes = []
    for place in range(REPLUCK_MOMENTS):
        start, moment = pace * place, pace * place + before + GRID_FRAMES * 7 * place
        strokes.append(Stroke(start, moment, 1, 0, REPLUCK_KEY, KEY_VELOCITY))
        strokes.append(Stroke(moment, start + pace - _grid(0.5), 1, 0, REPLUCK_KEY, KEY_VELOCITY))
    (sound,) = render_strokes(font, strokes, pace * REPLUCK_MOMENTS, 1, {})
    mono = sound.sum(axis=1, dtype=np.float64)
    taper = np.hanning(2 * window)
    treble = np.fft.rfftfreq(2 * window, 1.0 / SAMPLE_RATE_HZ) >= TREBLE_HZ
    padded = np.concatenate([np.zeros(window), mono])

    def power(frame: int) -> float:
        around = padded[frame : frame + 2 * window] * taper
        return float((np.abs(np.fft.rfft(around)[treble]) ** 2).sum()) + 1e-12

    excess = [
        power(again.on_frame) / power(fresh.on_frame)
        for fresh, again in zip(strokes[::2], strokes[1::2], strict=True)
    ]
    return float(10.0 * np.log10(max(excess)))


def _grid(seconds: float) -> int:
    """Return seconds as frames on FluidSynth's grid."""
    return round(seconds * SAMPLE_RATE_HZ) // GRID_FRAMES * GRID_FRAMES


# ---- a report as a picture: four small charts in one SVG, to be laid beside another font's


WIDTH, HEIGHT = 420, 230
LEFT, TOP, INNER_WIDTH, INNER_HEIGHT = 52, 40, 350, 150
INK, LINE, GRID = "#222222", "#0b5d5e", "#d0d0d0"


@dataclass(frozen=True, slots=True)
class _Chart:
    """A curve: what it shows, what its axes are, their ends, and its points."""

    title: str
    across: str
    x_ends: tuple[float, float]
    y_ends: tuple[float, float]
    points: tuple[tuple[float, float], ...]


def report_svg(report: FontReport) -> str:
    """Return the picture of a report: loudness and brightness by velocity, ring and level by key."""
    charts = _charts(report)
    drawn = [
        _drawn(chart, WIDTH * (place % 2), 30 + HEIGHT * (place // 2)) for place, chart in enumerate(charts)
    ]
    width, height = 2 * WIDTH, 30 + 2 * HEIGHT
    name, style = escape(report.name), f'font-family="sans-serif" font-size="12" fill="{INK}"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" {style}>',
            f"<title>{name}: loudness, brightness, ring and evenness</title>",
            f'<rect width="{width}" height="{height}" fill="white"/>',
            f'<text x="16" y="22" font-size="15" font-weight="bold">{name}</text>',
            *drawn,
            "</svg>",
            "",
        ]
    )


def _charts(report: FontReport) -> tuple[_Chart, ...]:
    keys = [key.midi for key in report.keys]
    velocity, key = "velocity", "key (60 is C4, 72 C5, 84 C6)"
    key_ends = (float(keys[0]), float(keys[-1]))
    middle = sorted(key.level_lufs for key in report.keys)[len(keys) // 2]
    return (
        _Chart("loudness in dB, the firmest being 0", velocity, (0, 127), (-60, 0),
               _points(report.velocities, report.levels_db)),
        _Chart("brightness, the softest being 1", velocity, (0, 127), (0, 5),
               _points(report.velocities, report.brightness)),
        _Chart("ring: T60 in seconds", key, key_ends, (0, 5),
               _points(keys, [key.t60_s for key in report.keys])),
        _Chart("level in dB around the middle key", key, key_ends, (-10, 10),
               _points(keys, [key.level_lufs - middle for key in report.keys])),
    )  # fmt: skip


def _points(across: Sequence[float], up: Sequence[float]) -> tuple[tuple[float, float], ...]:
    return tuple(zip(map(float, across), up, strict=True))


def _drawn(chart: _Chart, left: int, top: int) -> str:
    """Return one chart at its place; what lies beyond its ends is drawn on the edge."""

    def place(x: float, y: float) -> tuple[float, float]:
        along = min(max((x - chart.x_ends[0]) / (chart.x_ends[1] - chart.x_ends[0]), 0.0), 1.0)
        up = min(max((y - chart.y_ends[0]) / (chart.y_ends[1] - chart.y_ends[0]), 0.0), 1.0)
        return left + LEFT + INNER_WIDTH * along, top + TOP + INNER_HEIGHT * (1.0 - up)

    rows = [f'<text x="{left + LEFT}" y="{top + TOP - 12}">{chart.title}</text>']
    for quarter in range(5):
        value = chart.y_ends[0] + (chart.y_ends[1] - chart.y_ends[0]) * quarter / 4
        x, y = place(chart.x_ends[0], value)
        rows.append(f'<path d="M{x:.1f} {y:.1f}h{INNER_WIDTH}" stroke="{GRID}"/>')
        rows.append(f'<text x="{x - 6:.1f}" y="{y + 4:.1f}" text-anchor="end">{value:g}</text>')
        across = chart.x_ends[0] + (chart.x_ends[1] - chart.x_ends[0]) * quarter / 4
        x, y = place(across, chart.y_ends[0])
        rows.append(f'<text x="{x:.1f}" y="{y + 16:.1f}" text-anchor="middle">{across:.0f}</text>')
    places = [place(x, y) for x, y in chart.points]
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
    rows.append(f'<polyline points="{path}" fill="none" stroke="{LINE}" stroke-width="2"/>')
    rows += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.5" fill="{LINE}"/>' for x, y in places]
    middle = left + LEFT + INNER_WIDTH // 2
    rows.append(
        f'<text x="{middle}" y="{top + TOP + INNER_HEIGHT + 32}" text-anchor="middle">{chart.across}</text>'
    )
    return "\n".join(rows)
