"""What a kit promises, each promise held against a measurement of the files.

`PROMISES` names them, `SET_PROMISES` those that sets of a song keep together where their tune is at one octave. A
promise that is broken raises `AssertionError`. The tests of files hold all of them against real output; the tests of
sabotage show for each one that it can be broken.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.kits import LAYER_TRACKS, Kit
from tests.measure.audio import (
    LAYERS,
    Track,
    adding_up_residues,
    cue_figures,
    delay_s,
    full_scale_frames,
    layer_gains,
)
from tests.measure.font_player import RATE_HZ, notes_alone
from tests.measure.loudness import gesture_levels_lufs, integrated_lufs, true_peak_dbtp
from tests.measure.midi import rolls_of, strings_of, tune_figures, written_time_s
from tests.measure.onsets import onset_figures, onsets_s, string_late_s
from tests.measure.pitch import cents_sharp
from tests.measure.tags import tags_of

__all__ = ["PROMISES", "SET_PROMISES"]

HIGH_G = (67, 60, 64, 69)
"""Keys of the open strings, string 4 first."""

Promise = Callable[[Kit], None]
PROMISES: dict[str, Promise] = {}
SetPromise = Callable[[Sequence[Kit]], None]
SET_PROMISES: dict[str, SetPromise] = {}


def promise(name: str) -> Callable[[Promise], Promise]:
    """Put a promise into the table."""

    def put(check: Promise) -> Promise:
        PROMISES[name] = check
        return check

    return put


def set_promise(name: str) -> Callable[[SetPromise], SetPromise]:
    """Put a promise that several sets keep together into the table; the first set is the one compared with."""

    def put(check: SetPromise) -> SetPromise:
        SET_PROMISES[name] = check
        return check

    return put


@promise("tracks add up")
def _adding_up(kit: Kit) -> None:
    residues = adding_up_residues(kit.tracks)
    step = kit.tracks["demo"].step
    first = round(kit.first_bar_s * kit.tracks["demo"].rate_hz)
    for layer in (name for name in residues if name != "all"):
        apart = np.abs(residues[layer] - residues["all"]).max() / step
        assert apart <= 2.5, f"without-{layer} + only-{layer} − demo is {apart:.1f} steps off"
        left = np.abs(residues[layer][first:]).max() / step
        assert left <= 1.5, (
            f"without-{layer} + only-{layer} − demo leaves {left:.1f} steps after the count-in"
        )


@promise("the count-in is in every track once")
def _count_in(kit: Kit) -> None:
    demo = kit.tracks["demo"]
    song = kit.song
    knocks_s = np.arange(int(song.count_in_beat / song.pulse_beat)) * float(song.pulse_beat) * song.beat_s
    for residue in adding_up_residues(kit.tracks).values():
        cues = cue_figures(residue, demo.rate_hz, 2.0 * demo.step)
        assert cues.onsets_s == pytest.approx(knocks_s, abs=0.002), f"knocks at {cues.onsets_s}"
        assert max(cues.peaks) < 1.1 * min(cues.peaks), f"knocks as high as {cues.peaks}"
        assert cues.end_s <= float(song.count_in_beat) * song.beat_s, (
            f"something sounds until {cues.end_s:.2f} s"
        )


@promise("tracks start and end together")
def _together(kit: Kit) -> None:
    assert tuple(kit.tracks) == LAYER_TRACKS, f"the tracks are {', '.join(kit.tracks)}"
    lengths = {track.length_frames for track in kit.tracks.values()}
    assert len(lengths) == 1, f"lengths of {lengths} frames"
    for name, track in kit.tracks.items():
        late_s = delay_s(track, kit.tracks["demo"], kit.first_bar_s)
        assert abs(late_s) <= 0.0001, f"{name} is {late_s * 1000:.2f} ms late"


@promise("layers keep their level")
def _levels_kept(kit: Kit) -> None:
    for name, track in kit.tracks.items():
        kind, _, which = name.partition("-")
        for layer, gain in layer_gains(track, kit.alone, kit.first_bar_s).items():
            heard = {"demo": True, "without": layer != which, "only": layer == which}[kind]
            assert abs(gain - heard) <= 0.001, f"{name} holds {gain:.3f} of {layer}"


@promise("melody in front, strums at the back")
def _front_and_back(kit: Kit) -> None:
    middle = {}
    for layer in LAYERS:
        onsets = [roll.notes[0].onset_s for roll in rolls_of(kit.midi, layer)]
        middle[layer] = float(np.median(gesture_levels_lufs(kit.alone[layer], onsets)))
    assert middle["melody"] - middle["between"] >= 2.0, middle
    assert middle["between"] - middle["strums"] >= 4.0, middle
    assert middle["melody"] - middle["strums"] <= 18.0, middle


@promise("loud enough and no louder")
def _loudness(kit: Kit) -> None:
    loudness, peak = integrated_lufs(kit.tracks["demo"]), max(map(true_peak_dbtp, kit.tracks.values()))
    assert loudness <= -16.0 + 0.1, f"{loudness:.2f} LUFS"
    assert peak <= -1.0 + 0.1, f"{peak:.2f} dBTP"
    highest = 20.0 * math.log10(max(float(np.abs(track.samples).max()) for track in kit.tracks.values()))
    room_db = min(-16.0 - loudness, -1.0 - peak, -0.1 - highest)
    assert room_db <= 0.1, f"{room_db:.2f} dB of room are left"


@promise("nothing at full scale")
def _full_scale(kit: Kit) -> None:
    for name, track in kit.tracks.items():
        assert full_scale_frames(track) == 0, f"{name} is at full scale in {full_scale_frames(track)} frames"


@promise("what is written is heard, when it is written")
def _onsets(kit: Kit) -> None:
    written_s = [note.onset_s for note in kit.midi.tracks["between"]]
    heard_s = onsets_s(kit.alone["between"])
    count_in_s = float(kit.song.count_in_beat) * kit.song.beat_s
    figures = onset_figures(heard_s[heard_s > count_in_s - 0.1], written_s)
    assert figures.unheard_s == (), f"unheard: {figures.unheard_s}"
    assert figures.unwritten_s == (), f"unwritten: {figures.unwritten_s}"
    assert np.abs(figures.late_s).max() <= 0.003, f"up to {np.abs(figures.late_s).max() * 1000:.1f} ms off"


@promise("the tune of a roll is heard when it is written")
def _tops(kit: Kit) -> None:
    rolls = [roll for roll in rolls_of(kit.midi) if len(roll.notes) > 1]
    assert rolls, "nothing is rolled"
    melody = kit.alone["melody"]
    for midi in sorted({roll.notes[-1].midi for roll in rolls}):
        due_s = [roll.notes[-1].onset_s for roll in rolls if roll.notes[-1].midi == midi]
        for at_s, late_s in zip(due_s, string_late_s(melody, due_s, _alone(midi, *kit.sound)), strict=True):
            assert abs(late_s) <= 0.003, f"key {midi} at {at_s:.2f} s is {late_s * 1000:+.1f} ms off"


@cache
def _alone(midi: int, font: Path, bank: int, program: int) -> Track:
    """Return a key of a sound alone, after 0.1 s of silence."""
    (sound,) = notes_alone(font, bank, program, [(midi, 80)], 0.5)
    silence = np.zeros(RATE_HZ // 10, np.float32)
    return Track(np.concatenate([silence, sound])[:, None], RATE_HZ)


@promise("in tune")
def _in_tune(kit: Kit) -> None:
    notes = [note for note in kit.midi.tracks["between"] if note.end_s - note.onset_s >= 0.4]
    assert notes, "no note is long enough to tell"
    for note in notes:
        cents = cents_sharp(kit.alone["between"], note.midi, note.onset_s, note.end_s)
        assert abs(cents) <= 1.0, f"key {note.midi} at {note.onset_s:.2f} s is {cents:+.1f} cents sharp"


@promise("rolls fall towards the tune")
def _rolls(kit: Kit) -> None:
    rolls = [roll for roll in rolls_of(kit.midi) if len(roll.notes) > 1]
    assert rolls, "nothing is rolled"
    tick_s = 0.002  # the longest, where a slow song slows down
    for roll in rolls:
        where = f"the roll at {roll.notes[-1].onset_s:.2f} s"
        assert roll.loudest_last, f"{where} isn't loudest at its last string"
        assert strings_of(roll, HIGH_G), f"{where} doesn't fall across neighbouring strings"
        assert roll.spread_s <= 0.090 + tick_s, f"{where} takes {roll.spread_s:.3f} s"
        steps = f"the strings of {where} come {min(roll.steps_s):.3f} to {max(roll.steps_s):.3f} s apart"
        assert 0.015 - tick_s <= min(roll.steps_s), steps
        assert max(roll.steps_s) <= 0.030 + tick_s, steps


def _beat_reach_s(kit: Kit) -> float:
    """How far players may be off a beat: 20 ms at 100 pulses a minute or more, in proportion to a slower pulse."""
    pulse_s = float(kit.song.pulse_beat) * kit.song.beat_s
    return 0.020 * max(pulse_s / 0.6, 1.0)


@promise("MIDI holds the tune")
def _tune(kit: Kit) -> None:
    for midi in kit.midi_witnesses:
        figures = tune_figures(midi, kit.song)
        assert figures.missing == (), f"missing: {figures.missing}"
        assert figures.unexplained == (), f"not in the tune, nor of a roll: {figures.unexplained}"
        assert bool(figures.added) == kit.song.has_between, f"added: {figures.added}"
        latest = max(map(abs, figures.late_s))
        assert latest <= _beat_reach_s(kit), f"a note of the tune is {latest * 1000:.1f} ms off its beat"


@promise("MIDI has a named track for each layer")
def _named_tracks(kit: Kit) -> None:
    for midi in kit.midi_witnesses:
        assert tuple(midi.tracks) == ("count-in", *LAYERS), f"the tracks are {', '.join(midi.tracks)}"


@promise("MIDI says tempo, meter and key")
def _tempo_meter_key(kit: Kit) -> None:
    song = kit.song
    quarters_a_minute = float(song.tempo * song.pulse_beat * 4 / song.meter[1])
    for midi in kit.midi_witnesses:
        assert midi.tempi[0] == pytest.approx((0.0, quarters_a_minute), abs=0.001), f"tempo {midi.tempi[0]}"
        assert midi.meters == ((0.0, *song.meter),), f"meter {midi.meters}"
        assert midi.keys == ((0.0, song.key),), f"key {midi.keys}"


@promise("MIDI says the words")
def _words(kit: Kit) -> None:
    sung = [note for note in kit.song.tune if note.syllable]
    for midi in kit.midi_witnesses:
        words = [text.rstrip(" -") for _, text in midi.words]
        assert words == [note.syllable for note in sung], f"sung: {' '.join(words)}"
        due_s = [written_time_s(midi, kit.song, kit.song.swung(note.beat)) for note in sung]
        assert [at_s for at_s, _ in midi.words] == pytest.approx(due_s, abs=_beat_reach_s(kit)), (
            "words off their beat"
        )


@promise("MIDI says the sections")
def _sections(kit: Kit) -> None:
    expected = [name if number == 1 else f"{name} {number}" for name, number, _ in kit.song.visits]
    marked = [text for _, text in kit.midi.markers]
    assert marked == expected, f"marked: {marked}"
    due_s = [written_time_s(kit.midi, kit.song, beat) for _, _, beat in kit.song.visits]
    assert [at_s for at_s, _ in kit.midi.markers] == pytest.approx(due_s, abs=0.001), (
        "sections off their bars"
    )


@promise("tracks say what they are")
def _tags(kit: Kit) -> None:
    for name, path in kit.track_paths.items():
        expected = {
            "title": f"{kit.song.title} ({name.replace('-', ' ')})",
            "artist": kit.song.composer,
            "album": kit.song.title,
            "number": str(int(path.name[:2])),
            "licence": kit.song.licence,
        }
        assert tags_of(path) == expected, f"{path.name}: {tags_of(path)}"


def _singles_s(kit: Kit) -> NDArray[np.float64]:
    """Return when the single notes between the rolls are heard, the count-in left out."""
    heard_s = onsets_s(kit.alone["between"])
    return heard_s[heard_s > float(kit.song.count_in_beat) * kit.song.beat_s - 0.1]


@set_promise("sets share their timeline")
def _set_timelines(kits: Sequence[Kit]) -> None:
    first, *others = kits
    rate_hz = first.tracks["demo"].rate_hz
    knocks_s = cue_figures(adding_up_residues(first.tracks)["all"], rate_hz, 0.01).onsets_s
    assert len(knocks_s) >= 2, f"knocks at {knocks_s}"
    for kit in others:
        name = kit.folder.name
        lengths = {track.length_frames for each in (first, kit) for track in each.tracks.values()}
        assert len(lengths) == 1, f"{name}: lengths of {lengths} frames"
        figures = onset_figures(_singles_s(kit), _singles_s(first).tolist())
        assert figures.unheard_s == (), f"{name}: unheard: {figures.unheard_s}"
        assert figures.unwritten_s == (), f"{name}: only here: {figures.unwritten_s}"
        apart_ms = np.abs(figures.late_s).max() * 1000
        assert apart_ms <= 3.0, f"{name}: up to {apart_ms:.1f} ms off"
        cues = cue_figures(adding_up_residues(kit.tracks)["all"], rate_hz, 0.01)
        assert cues.onsets_s == pytest.approx(knocks_s, abs=0.001), f"{name}: knocks at {cues.onsets_s}"


@set_promise("sets share their gain")
def _set_gains(kits: Sequence[Kit]) -> None:
    """The first knock, which is the same in every set, has the same level in each."""
    first, *others = kits
    knock_lufs = gesture_levels_lufs(first.tracks["demo"], [0.0])
    for kit in others:
        louder_db = float((gesture_levels_lufs(kit.tracks["demo"], [0.0]) - knock_lufs)[0])
        assert abs(louder_db) <= 0.1, f"{kit.folder.name} is {louder_db:+.2f} dB louder"


@set_promise("no set clips")
def _set_peaks(kits: Sequence[Kit]) -> None:
    for kit in kits:
        peak = true_peak_dbtp(kit.tracks["demo"])
        assert peak <= -1.0 + 0.1, f"{kit.folder.name}: {peak:.2f} dBTP"
        for name, track in kit.tracks.items():
            full = full_scale_frames(track)
            assert full == 0, f"{kit.folder.name}: {name} is at full scale in {full} frames"
