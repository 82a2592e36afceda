"""The built-in ukulele beside the sampled one of Debian's ``fluid-soundfont-gm``, string by string, fret 0 to 15.

    python benchmarks/ukulele_and_sampled.py [FONT] [-o PICTURE.svg]

FONT is ``FluidR3_GM.sf2`` (148 MB, in the package named above, too large to fetch in every check). Prints a table of
brightness and ring at velocity 96, says where each one is better, and fails if the built-in one leaves the bounds:
centroid within 35 %, early T60 within a factor of 1.6.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from measuring import asked, counted, parser_of

from tercet.sound.ukulele import STRING_BANKS, ready_built_in
from tests.measure.font_player import RATE_HZ, notes_alone
from tests.measure.plucks import gesture_figures, ring_figures

SAMPLED = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
OPEN_STRINGS = {"A4": 69, "E4": 64, "C4": 60, "G4": 67}
FRETS = tuple(range(16))
KEYS = tuple(range(45, 67))
"""Where the sampled ukulele is compared with the guitar of its font; higher up another filter shades it."""

FINER = 8
"""Two sounds are laid over one another to a part of a frame."""

VELOCITY, HELD_S = 96, 3.5
CENTROID_PART, T60_FACTOR = 0.35, 1.6


@dataclass(frozen=True)
class Row:
    """One fret of one string in both fonts, ours first: brightness, ring, growth of brightness with touch, level."""

    string: str
    fret: int
    centroids_hz: tuple[float, float]
    t60s_s: tuple[float, float]
    growths: tuple[float, float]
    levels_lufs: tuple[float, float]

    @property
    def within(self) -> bool:
        """Whether the built-in one keeps within the bounds."""
        bright = self.centroids_hz[0] / self.centroids_hz[1]
        ring = self.t60s_s[0] / self.t60s_s[1]
        return abs(bright - 1.0) <= CENTROID_PART and 1.0 / T60_FACTOR <= ring <= T60_FACTOR


def rows_of(sampled: Path, frets: Sequence[int]) -> list[Row]:
    """Measure both fonts."""
    built_in = ready_built_in()
    rows = []
    for name, open_midi in OPEN_STRINGS.items():
        figures = []
        for path, bank in ((built_in, STRING_BANKS[name]), (sampled, 8)):
            keys = [open_midi + fret for fret in frets]
            held = notes_alone(path, bank, 24, [(key, VELOCITY) for key in keys], HELD_S)
            soft, firm = (
                gesture_figures(
                    notes_alone(path, bank, 24, [(key, velocity) for key in keys], 0.45), RATE_HZ
                )[1]
                for velocity in (1, 127)
            )
            levels, centroids = gesture_figures(held, RATE_HZ)
            figures.append(
                (centroids, [ring_figures(each, RATE_HZ)[0] for each in held], firm / soft, levels)
            )
        rows += [
            Row(
                name,
                fret,
                *((float(ours[place]), float(theirs[place])) for ours, theirs in zip(*figures, strict=True)),
            )
            for place, fret in enumerate(frets)
        ]
    return rows


def table(rows: list[Row]) -> str:
    """Return the table and what it says."""
    lines = [
        "string fret   centroid in Hz       early T60 in s       soft to firm",
        "              ours  sampled        ours  sampled      ours  sampled",
    ]
    lines += [
        f"{row.string:<6} {row.fret:>4} {row.centroids_hz[0]:>7.0f} {row.centroids_hz[1]:>8.0f} {row.t60s_s[0]:>11.2f} "
        f"{row.t60s_s[1]:>8.2f} {row.growths[0]:>9.2f} {row.growths[1]:>8.2f}{'' if row.within else '   out of bounds'}"
        for row in rows
    ]
    spread = [np.ptp([row.levels_lufs[which] for row in rows]) for which in (0, 1)]
    growth = [float(np.median([row.growths[which] for row in rows])) for which in (0, 1)]
    neighbours = [(before, after) for before, after in pairwise(rows) if after.fret]
    jumps = [
        max(abs(1.0 - after.t60s_s[which] / before.t60s_s[which]) for before, after in neighbours)
        for which in (0, 1)
    ]
    lines += [
        "",
        f"softest to firmest: ours grows {growth[0]:.1f} times brighter, the sampled one {growth[1]:.2f} times",
        f"over strings and frets: ours is even to {spread[0]:.1f} dB, the sampled one to {spread[1]:.1f} dB",
        f"from fret to fret: our ring changes by at most {100 * jumps[0]:.0f} %, the sampled by {100 * jumps[1]:.0f} %",
    ]
    return "\n".join(lines)


def guitar_alike(sampled: Path, keys: Sequence[int]) -> NDArray[np.float64]:
    """Return how alike the sampled ukulele is to the nylon guitar of its font, key by key; 1 is the same."""
    ukulele, guitar = (
        notes_alone(sampled, bank, 24, [(key, VELOCITY) for key in keys], 1.0) for bank in (8, 0)
    )
    size = 2 * ukulele.shape[1]
    spectra = [np.fft.rfft(each, size) for each in (ukulele, guitar)]
    together = FINER * np.fft.irfft(spectra[0] * np.conj(spectra[1]), FINER * size)
    energies = [(np.asarray(each, np.float64) ** 2).sum(axis=1) for each in (ukulele, guitar)]
    return np.asarray(together.max(axis=1) / np.sqrt(energies[0] * energies[1]))


def picture(rows: list[Row]) -> str:
    """Return an SVG of centroid and ring along each string, ours in a full line, the sampled one dashed."""
    width, height, parts = 260, 150, []
    for column, name in enumerate(OPEN_STRINGS):
        own = [row for row in rows if row.string == name]
        for line, (what, top) in enumerate((("centroid in Hz", 2500.0), ("early T60 in s", 4.0))):
            left, under = 40 + column * (width + 40), 40 + (line + 1) * height + line * 50
            parts.append(f'<text x="{left}" y="{under - height - 8}">{name}: {what}, 0 to {top:g}</text>')
            parts.append(
                f'<rect x="{left}" y="{under - height}" width="{width}" height="{height}" fill="none" stroke="#bbb"/>'
            )
            for which, dash in ((0, "none"), (1, "5 4")):
                values = [(row.centroids_hz if line == 0 else row.t60s_s)[which] for row in own]
                places = " ".join(
                    f"{left + width * fret / 15:.1f},{under - height * min(value / top, 1.0):.1f}"
                    for fret, value in enumerate(values)
                )
                look = f'fill="none" stroke="#0b5d5e" stroke-width="2" stroke-dasharray="{dash}"'
                parts.append(f'<polyline points="{places}" {look}/>')
    size = f"0 0 {40 + 4 * (width + 40)} {2 * height + 110}"
    style = 'font-family="sans-serif" font-size="12"'
    drawn = "".join(parts)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{size}" {style}>{drawn}</svg>\n'


def main() -> int:
    """Run the comparison; 0 if the built-in ukulele keeps within the bounds."""
    parser = parser_of("The built-in ukulele beside a sampled one.", 1)
    parser.add_argument("font", nargs="?", type=Path, default=SAMPLED)
    parser.add_argument("-o", dest="output", type=Path)
    given = asked(parser)
    if not given.font.is_file():
        print(f"{given.font} isn't there: apt-get install fluid-soundfont-gm", file=sys.stderr)
        return 3
    rows = rows_of(given.font, FRETS[:: 5 if given.short else 1])
    counted("notes measured in both", len(rows))
    print(table(rows))
    alike = guitar_alike(given.font, KEYS[:: 7 if given.short else 1])
    print(
        f"the sampled one is the nylon guitar of its font: on {len(alike)} keys they correlate by "
        f"{alike.min():.3f} to {alike.max():.3f}"
    )
    if given.output:
        given.output.write_text(picture(rows), encoding="utf-8")
    return 0 if all(row.within for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
