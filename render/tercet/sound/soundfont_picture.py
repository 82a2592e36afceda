"""A font's report as a picture: four small charts in one SVG, to be laid beside another font's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from tercet.sound.soundfont_report import FontReport

__all__ = ["report_svg"]

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
