"""How three players keep time, measured in the MIDI files that a user gets, over many playings of one piece.

Lateness is what is left of an onset when the file's own tempo map, the drifting pulse, is taken off.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.performing import Take, lay_out, perform
from tercet.performing.midi import midi_bytes
from tercet.song import Feel
from tests.measure.midi import read_with_mido, rolls_of
from tests.performing.checks import spectrum_slope
from tests.performing.pieces import Visit, piece, strum, tune

PULSES, SEEDS = 128, range(36)
MADE = piece(
    *(stroke for beat in range(PULSES) for stroke in (tune(beat, 1), strum(beat, 1))),
    tempo=100,
    visits=[Visit("verse", 1, PULSES // 4)],
)
SPREADS_S = {"steady": 0.00323, "natural": 0.0065, "loose": 0.01208}
COUNT_IN_BEATS = 4

Change = Callable[[int, Take], Take]


def unchanged(_: int, take: Take) -> Take:
    return take


def late_s(
    folder: Path, feel: Feel = "natural", change: Change = unchanged
) -> dict[str, NDArray[np.float64]]:
    """Return how late melody and strums are on each beat, of each playing's own file: (playing, beat)."""
    made = replace(MADE, song=replace(MADE.song, feel=feel))
    found: dict[str, list[list[float]]] = {"melody": [], "strums": []}
    for seed in SEEDS:
        path = folder / f"{seed}.mid"
        path.write_bytes(midi_bytes(made, change(seed, perform(made, lay_out(made), seed=seed))))
        file = read_with_mido(path)
        due_s = [file.seconds(COUNT_IN_BEATS + beat) for beat in range(PULSES)]
        for layer, playings in found.items():
            onsets_s = [roll.notes[-1].onset_s for roll in rolls_of(file, layer)]
            playings.append([onset_s - at_s for onset_s, at_s in zip(onsets_s, due_s, strict=True)])
    return {layer: np.array(playings) for layer, playings in found.items()}


def breathes_like_people(late: dict[str, NDArray[np.float64]], spread_s: float) -> None:
    """Assert what is known of people who play together."""
    for layer, runs in late.items():
        assert spectrum_slope(runs) == pytest.approx(-0.9, abs=0.15), f"{layer}: the spectrum's slope"
        assert runs.std() == pytest.approx(spread_s, rel=0.1), f"{layer}: the spread"
        assert np.abs(runs).max() <= 3.0 * spread_s + 0.0004, f"{layer}: the furthest off"
    shared = np.corrcoef(late["melody"].ravel(), late["strums"].ravel())[0, 1]
    assert shared > 0.3, f"the layers share {shared:.2f}"


@pytest.mark.parametrize("feel", SPREADS_S)
def test_players_breathe_together(feel: Feel, tmp_path: Path) -> None:
    breathes_like_people(late_s(tmp_path, feel), SPREADS_S[feel])


def moved(take: Take, by_s: Callable[[str], NDArray[np.float64]]) -> Take:
    """Play the notes of a dry take so much later, layer by layer and beat by beat."""
    off = {layer: by_s(layer) for layer in ("melody", "strums")}
    notes = (
        replace(note, onset_s=note.onset_s + float(off[note.layer][int(note.beat)])) for note in take.notes
    )
    return replace(take, notes=tuple(sorted(notes, key=lambda note: note.onset_s)))


@cache
def exact() -> Take:
    return perform(MADE, lay_out(MADE), dry=True)


def white(seed: int, _: Take) -> Take:
    """Put every note off by itself, as much as players are."""
    chance = np.random.default_rng(seed)
    together = np.clip(chance.normal(0.0, 0.0060, PULSES), -0.014, 0.014)
    return moved(exact(), lambda _: together + np.clip(chance.normal(0.0, 0.0025, PULSES), -0.005, 0.005))


def alone(seed: int, _: Take) -> Take:
    """Let each layer play with another seed, so that nothing is shared."""
    takes = {
        layer: perform(MADE, lay_out(MADE), seed=seed + offset, steady_pulse=True)
        for layer, offset in (("melody", 0), ("strums", 5000))
    }

    def off(layer: str) -> NDArray[np.float64]:
        onsets_s = {note.beat: note.onset_s for note in takes[layer].notes if note.layer == layer}
        due_s = {note.beat: note.onset_s for note in exact().notes if note.layer == layer}
        return np.array([onsets_s[beat] - due_s[beat] for beat in sorted(due_s)])

    return moved(exact(), off)


def twice_as_loose(seed: int, _: Take) -> Take:
    loose = replace(MADE, song=replace(MADE.song, feel="loose"))
    return perform(loose, lay_out(loose), seed=seed)


def one_note_40_ms_late(seed: int, take: Take) -> Take:
    if seed:
        return take
    notes = (replace(note, onset_s=note.onset_s + 0.04 * (note.beat == 64)) for note in take.notes)
    return replace(take, notes=tuple(sorted(notes, key=lambda note: note.onset_s)))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (white, "the spectrum's slope"),
        (alone, "the layers share"),
        (twice_as_loose, "the spread"),
        (one_note_40_ms_late, "the furthest off"),
    ],
)
def test_what_people_do_not_do_is_found(change: Change, says: str, tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match=says):
        breathes_like_people(late_s(tmp_path, change=change), SPREADS_S["natural"])


def test_a_click_can_be_played_to(tmp_path: Path) -> None:
    """With a steady pulse the file has one tempo, and players stay around it; without, the tempo moves.

    It drifts by up to 2 %, slows down by less than 7 % at the one phrase's end, and further where the piece may close.
    """
    tempi = []
    for steady_pulse in (True, False):
        path = tmp_path / f"{steady_pulse}.mid"
        path.write_bytes(midi_bytes(MADE, perform(MADE, lay_out(MADE), steady_pulse=steady_pulse)))
        tempi.append([tempo for _, tempo in read_with_mido(path).tempi])
    assert tempi[0] == pytest.approx([100.0])
    calm, ending = tempi[1][:-24], tempi[1][-24:]
    assert 0.5 < max(calm) - min(calm) < 4.0
    assert 98.0 <= min(calm) < max(calm) <= 102.1
    assert 0.98 * 70.0 < min(ending) < 1.02 * 70.0
