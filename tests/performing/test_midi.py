"""MIDI files, read back with mido, and with pretty_midi as a second witness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from itertools import pairwise

import mido
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import Arrangement
from tercet.errors import ParameterError
from tercet.performing import Span, Take, Timeline, lay_out, perform
from tercet.performing.midi import midi_bytes
from tercet.song import Dynamics, Layer
from tercet.theory import Key
from tests.performing.golden import four_bars
from tests.performing.pieces import Visit, added, piece, pieces, strum, tune

Timed = list[tuple[float, mido.Message]]


def play(
    made: Arrangement,
    bars: list[int] | None = None,
    count_in_bars: int = 1,
    speed: str = "1",
    steady_pulse: bool = True,
) -> Take:
    return perform(made, lay_out(made, bars, Fraction(speed), count_in_bars), steady_pulse=steady_pulse)


def written(made: Arrangement, take: Take, layers: Sequence[Layer] | None = None) -> mido.MidiFile:
    return mido.MidiFile(file=BytesIO(midi_bytes(made, take, layers)), charset="utf-8")


def timed(file: mido.MidiFile) -> dict[str, Timed]:
    """Return the messages of each track with their seconds, by the tempo changes of the first track."""
    changes: list[tuple[int, float, int]] = []
    tick, now_s, tempo = 0, 0.0, 500_000
    for message in file.tracks[0]:
        tick += message.time
        now_s += mido.tick2second(message.time, file.ticks_per_beat, tempo)
        if message.type == "set_tempo":
            tempo = message.tempo
            changes.append((tick, now_s, tempo))
    found: dict[str, Timed] = {}
    for track in file.tracks:
        tick, placed = 0, []
        for message in track:
            tick += message.time
            start, start_s, tempo = max(
                (change for change in changes if change[0] <= tick), key=lambda c: c[0]
            )
            placed.append((start_s + mido.tick2second(tick - start, file.ticks_per_beat, tempo), message))
        found[track.name] = placed
    return found


def notes_of(placed: Timed) -> list[tuple[float, float, int, int]]:
    """Return onset, end, key and velocity; every stroke must be let go before the next, and all in the end."""
    sounding: dict[int, tuple[float, int]] = {}
    notes = []
    for at_s, message in placed:
        if message.type == "note_on":
            assert message.velocity > 0
            assert message.note not in sounding
            sounding[message.note] = (at_s, message.velocity)
        elif message.type == "note_off":
            onset_s, velocity = sounding.pop(message.note)
            notes.append((onset_s, at_s, message.note, velocity))
    assert sounding == {}
    return sorted(notes)


def of_type(placed: Timed, kind: str) -> list[tuple[float, mido.Message]]:
    return [(round(at_s, 3), message) for at_s, message in placed if message.type == kind]


def meters(made: Arrangement, take: Take) -> list[tuple[float, str]]:
    found = of_type(timed(written(made, take))[made.song.title], "time_signature")
    return [(at_s, f"{sign.numerator}/{sign.denominator}") for at_s, sign in found]


def test_the_same_bytes_twice() -> None:
    made = four_bars()
    assert midi_bytes(made, play(made)) == midi_bytes(four_bars(), play(four_bars()))


def test_tracks_are_named_and_have_their_own_channels() -> None:
    made = four_bars()
    file = written(made, play(made))
    assert (file.type, file.ticks_per_beat) == (1, 3840)
    assert [track.name for track in file.tracks] == ["A piece", "count-in", "melody", "between", "strums"]
    channels = [{message.channel for message in track if not message.is_meta} for track in file.tracks]
    assert channels == [set(), {9}, {0}, {1}, {2}]
    programs = [
        message.program for track in file.tracks for message in track if message.type == "program_change"
    ]
    assert programs == [24, 24, 24]


def test_layers_are_chosen() -> None:
    made = four_bars()
    file = written(made, play(made), ("strums", "melody"))
    assert [track.name for track in file.tracks] == ["A piece", "count-in", "strums", "melody"]
    assert [track.name for track in written(made, play(made, count_in_bars=0), ()).tracks] == ["A piece"]


@pytest.mark.parametrize(
    ("bars", "count_in_bars", "speed"),
    [
        (None, 1, "1"),
        (None, 0, "1"),
        (None, 2, "3/5"),
        ([2, 3], 0, "2"),
        ([3, 1, 1, 4], 1, "1/2"),
        ([4, 0], 0, "1"),
    ],
)
def test_notes_fall_within_a_millisecond_of_the_take(
    bars: list[int] | None, count_in_bars: int, speed: str
) -> None:
    made = four_bars()
    take = play(made, bars, count_in_bars, speed)
    tracks = timed(written(made, take))
    for layer in made.song.layers:
        wanted = sorted(
            (note.onset_s, note.onset_s + note.length_s, note.midi, note.velocity)
            for note in take.notes
            if note.layer == layer
        )
        found = notes_of(tracks[layer])
        assert [note[2:] for note in found] == [note[2:] for note in wanted]
        assert [note[0] for note in found] == pytest.approx([note[0] for note in wanted], abs=0.001)
        assert [note[1] for note in found] == pytest.approx([note[1] for note in wanted], abs=0.001)
    knocks = notes_of(tracks.get("count-in", []))
    assert [knock[0] for knock in knocks] == pytest.approx(
        [click.onset_s for click in take.clicks], abs=0.001
    )
    assert [knock[2:] for knock in knocks] == [(76, 90) if click.first else (77, 70) for click in take.clicks]


@pytest.mark.parametrize("count_in_bars", [0, 1])
def test_pretty_midi_reads_the_same(count_in_bars: int) -> None:
    made = four_bars()
    take = play(made, count_in_bars=count_in_bars)
    file = pretty_midi.PrettyMIDI(BytesIO(midi_bytes(made, take)), charset="utf-8")
    instruments = {instrument.name: instrument for instrument in file.instruments}
    assert list(instruments) == [*(["count-in"] if count_in_bars else []), "melody", "between", "strums"]
    assert not any(instruments[layer].is_drum for layer in made.song.layers)
    for layer in made.song.layers:
        wanted = sorted(
            (n.onset_s, n.onset_s + n.length_s, n.midi, n.velocity) for n in take.notes if n.layer == layer
        )
        found = sorted((n.start, n.end, n.pitch, n.velocity) for n in instruments[layer].notes)
        assert [note[2:] for note in found] == [note[2:] for note in wanted]
        assert [note[0] for note in found] == pytest.approx([note[0] for note in wanted], abs=0.001)
        assert [note[1] for note in found] == pytest.approx([note[1] for note in wanted], abs=0.001)
    assert [sign.key_number for sign in file.key_signature_changes] == [0]


def test_every_track_is_as_long_as_the_take() -> None:
    made = four_bars()
    take = play(made)
    file = written(made, take)
    assert file.length == pytest.approx(take.length_s, abs=0.001)
    assert len({sum(message.time for message in track) for track in file.tracks}) == 1


def test_an_even_tempo_is_written_once() -> None:
    made = piece(*(tune(beat, 1) for beat in range(400)), tempo=92, visits=[Visit("A", 1, 100)])
    take = play(made)
    file = written(made, take)
    assert [m.tempo for _, m in of_type(timed(file)["A piece"], "set_tempo")] == [652174]
    assert file.length == pytest.approx(take.length_s, abs=0.001)


def test_tempo_counts_quarters_in_every_meter() -> None:
    made = piece(meter="6/8", tempo=60)
    assert [m.tempo for _, m in of_type(timed(written(made, play(made)))["A piece"], "set_tempo")] == [666667]
    half = piece(meter="2/2", tempo=60)
    assert [m.tempo for _, m in of_type(timed(written(half, play(half)))["A piece"], "set_tempo")] == [500000]


def test_long_songs_do_not_run_away() -> None:
    """At 137 pulses a minute whole microseconds lose 0.35 ms in a thousand quarters; beyond that it is made up for."""
    made = piece(*(tune(beat, 1) for beat in range(0, 4000, 100)), tempo=137, visits=[Visit("A", 1, 1000)])
    take = play(made)
    onsets = [note[0] for note in notes_of(timed(written(made, take))["melody"])]
    assert onsets == pytest.approx([note.onset_s for note in take.notes], abs=0.001)


def test_ritard_and_fermata_are_in_the_tempo_map() -> None:
    made = piece(*(tune(beat, 1) for beat in range(16)), tempo=60, marks={3: "rit@1", 4: "fermata@4"})
    tempi = [
        round(6e7 / m.tempo, 1) for _, m in of_type(timed(written(made, play(made)))["A piece"], "set_tempo")
    ]
    assert tempi[0] == 60.0
    assert tempi[-2] == pytest.approx(36.0, abs=1.0)
    assert tempi[-1] == pytest.approx(
        30.0 / (0.5 / 0.6 + 0.5), abs=0.1
    )  # what moves on the half pulse goes on in time
    assert all(later < sooner for sooner, later in pairwise(tempi))


@pytest.mark.parametrize(
    ("meter", "pickup", "bars", "count_in_bars", "found"),
    [
        ("3/4", "0", None, 1, [(0.0, "3/4")]),
        ("6/8", "0", None, 2, [(0.0, "6/8")]),
        ("4/4", "1", None, 1, [(0.0, "4/4")]),
        ("4/4", "1", None, 0, [(0.0, "1/16"), (0.25, "1/4"), (1.25, "4/4")]),
        ("3/4", "1/2", None, 0, [(0.0, "1/16"), (0.25, "1/8"), (0.75, "3/4")]),
        ("4/4", "1", [1, 0, 1], 1, [(0.0, "4/4"), (8.0, "1/4"), (9.0, "4/4")]),
        ("4/4", "0", None, 0, [(0.0, "1/16"), (0.25, "4/4")]),
        ("4/4", "1/3", None, 0, [(0.0, "1/16"), (0.583, "4/4")]),
    ],
)
def test_meter_follows_the_bars(
    meter: str, pickup: str, bars: list[int] | None, count_in_bars: int, found: list[tuple[float, str]]
) -> None:
    made = piece(meter=meter, tempo=60, visits=[Visit("A", 1, 2, Fraction(pickup))])
    assert meters(made, play(made, bars, count_in_bars)) == found


def test_clocks_of_the_metronome_tell_the_pulse() -> None:
    for meter, clocks in (("3/4", 24), ("6/8", 36), ("2/2", 48)):
        made = piece(meter=meter)
        (_, sign), *_ = of_type(timed(written(made, play(made)))["A piece"], "time_signature")
        assert sign.clocks_per_click == clocks


@pytest.mark.parametrize("minor", [False, True])
@pytest.mark.parametrize("letter", "ABCDEFG")
@pytest.mark.parametrize("alter", [-1, 0, 1])
def test_every_key_that_has_a_signature(letter: str, alter: int, minor: bool) -> None:
    key = Key(letter, alter, minor)
    if abs(key.fifths) <= 7:
        made = piece(key=key)
        file = pretty_midi.PrettyMIDI(BytesIO(midi_bytes(made, play(made))))
        assert [sign.key_number for sign in file.key_signature_changes] == [key.tonic_class + 12 * minor]


def test_markers_stand_where_sections_begin_and_where_the_playing_jumps() -> None:
    made = piece(tempo=60, visits=[Visit("verse", 1, 2), Visit("verse", 2, 1), Visit("Schluß ♪", 1, 1)])
    whole = of_type(timed(written(made, play(made)))["A piece"], "marker")
    assert [(at_s, m.text) for at_s, m in whole] == [(4.0, "verse"), (12.0, "verse 2"), (16.0, "Schluß ♪")]
    chosen = of_type(timed(written(made, play(made, [0, 1, 1, 3])))["A piece"], "marker")
    assert [(at_s, m.text) for at_s, m in chosen] == [(4.0, "verse"), (12.0, "verse"), (16.0, "Schluß ♪")]


def test_words_stand_where_their_notes_are_struck() -> None:
    strokes = [tune(0, 1), tune(1, 2), tune(3, 1, layer="between"), tune(4, 3, "4321"), tune(7, 1)]
    words = {0: [(0, "Ö-")], 1: [(0, "rök"), (2, "_"), (3, "sjö")], 2: [(2, "ラ")]}
    made = piece(*strokes, visits=[Visit("A", 1, 2, Fraction(1))], words=words)
    take = play(made)
    found = of_type(timed(written(made, take, ("strums",)))["A piece"], "lyrics")
    onsets = {note.beat: round(note.onset_s, 3) for note in take.notes if note.part == "tune"}
    assert [m.text for _, m in found] == ["Ö-", "rök ", "sjö ", "ラ "]
    assert [at_s for at_s, _ in found] == pytest.approx(
        [onsets[Fraction(beat)] for beat in (0, 1, 4, 7)], abs=0.0015
    )


def test_words_of_bars_that_are_not_played_are_left_out() -> None:
    made = piece(tune(0, 4), tune(4, 4), visits=[Visit("A", 1, 2)], words={1: [(0, "one")], 2: [(0, "two")]})
    found = of_type(timed(written(made, play(made, [1, 1])))["A piece"], "lyrics")
    assert [m.text for _, m in found] == ["two ", "two "]


def test_title_in_any_script() -> None:
    made = piece(title="Hafen – гавань – 港の灯")
    data = midi_bytes(made, play(made))
    assert mido.MidiFile(file=BytesIO(data), charset="utf-8").tracks[0].name == "Hafen – гавань – 港の灯"
    assert "Hafen – гавань – 港の灯".encode() in data


def test_two_strings_with_one_key_take_turns() -> None:
    """Frets 2 of string 4 and 0 of string 1 are both A4: the first ends where the second begins."""
    made = piece(strum(0, 2, "4321", "2000"), tempo=60)
    take = play(made)
    (first, second) = (note for note in take.notes if note.midi == 69)
    found = [note for note in notes_of(timed(written(made, take))["strums"]) if note[2] == 69]
    assert [note[0] for note in found] == pytest.approx([first.onset_s, second.onset_s], abs=0.001)
    assert [note[1] for note in found] == pytest.approx(
        [second.onset_s, second.onset_s + second.length_s], abs=0.001
    )


def test_of_one_key_struck_twice_at_one_tick_the_louder_stays() -> None:
    made = piece(tune(0, 1, "1", "2000", layer="between"), added(0, 1, "4", "2000"), dynamics=Dynamics())
    take = perform(made, lay_out(made), dry=True)
    assert [note.midi for note in take.notes] == [69, 69]
    found = notes_of(timed(written(made, take))["between"])
    assert [(note[2], note[3]) for note in found] == [(69, max(note.velocity for note in take.notes))]


def test_spans_of_different_speed() -> None:
    made = piece(tune(0, 4), tempo=60)
    take = perform(made, Timeline((Span(0, 0, Fraction(1, 2)), Span(0, 0)), 1), steady_pulse=True)
    tracks = timed(written(made, take))
    assert [(at_s, m.tempo) for at_s, m in of_type(tracks["A piece"], "set_tempo")] == [
        (0.0, 2_000_000),
        (16.0, 1_000_000),
    ]
    assert [note[0] for note in notes_of(tracks["melody"])] == pytest.approx(
        [note.onset_s for note in take.notes], abs=0.001
    )


@pytest.mark.parametrize(
    ("meter", "tempo", "sign", "tempo_us"),
    [
        ("4/4", 20, "4/2", 6_000_000),
        ("3/8", 20, "3/2", 6_000_000),
        ("2/1", 40, "2/1", 1_500_000),
        ("6/8", 20, "6/4", 4_000_000),
    ],
)
def test_very_slow_takes_are_written_in_longer_notes(
    meter: str, tempo: int, sign: str, tempo_us: int
) -> None:
    made = piece(tune(0, 1), meter=meter, tempo=tempo)
    take = play(made, speed="1/4")
    assert [text for _, text in meters(made, take)] == [sign]
    tracks = timed(written(made, take))
    assert [m.tempo for _, m in of_type(tracks["A piece"], "set_tempo")] == [tempo_us]
    assert notes_of(tracks["melody"])[0][0] == pytest.approx(take.notes[0].onset_s, abs=0.001)


@settings(max_examples=25)
@given(pieces(), st.integers(0, 1), st.sampled_from(("1/4", "1", "2")), st.booleans())
def test_any_take_is_written_whole(
    made: Arrangement, count_in_bars: int, speed: str, steady_pulse: bool
) -> None:
    take = play(made, None, count_in_bars, speed, steady_pulse)
    file = written(made, take)
    tracks = timed(file)
    assert file.length == pytest.approx(max(take.length_s, 0.0), abs=0.04)
    for layer in made.song.layers:
        found = notes_of(tracks[layer])
        for note in take.notes:
            if note.layer == layer:
                near = [
                    other
                    for other in found
                    if other[2] == note.midi and abs(other[0] - note.onset_s) < 0.0011
                ]
                assert near, note


# What a take gives Python users


def test_a_take_gives_the_file_that_is_written_of_it() -> None:
    made = four_bars()
    take = play(made)
    file = take.to_mido()
    buffer = BytesIO()
    file.save(file=buffer)
    assert isinstance(file, mido.MidiFile)
    assert buffer.getvalue() == midi_bytes(made, take)


def test_a_take_gives_pretty_midi_its_notes_at_their_own_times() -> None:
    made = four_bars()
    take, layers = play(made), made.song.layers
    heard = take.to_pretty_midi()
    assert isinstance(heard, pretty_midi.PrettyMIDI)
    assert [instrument.name for instrument in heard.instruments] == ["count-in", *layers]
    for layer, instrument in zip(layers, heard.instruments[1:], strict=True):
        notes = sorted((note for note in take.notes if note.layer == layer), key=lambda note: note.onset_s)
        onsets_s = sorted(note.start for note in instrument.notes)
        assert onsets_s == pytest.approx([note.onset_s for note in notes], abs=0.001)


def test_a_take_that_knows_no_piece_gives_no_midi() -> None:
    with pytest.raises(ParameterError, match="must come from perform"):
        replace(play(four_bars()), interpretation=None).to_mido()
