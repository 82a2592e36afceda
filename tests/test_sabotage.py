"""Every promise can be broken: one thing is changed in a kit, and the measurement named for it fails."""

from __future__ import annotations

import os
import shutil
import struct
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import mido
import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.performing import Take, TakeNote
from tercet.sound import STEM_NAMES, StemName, Stems
from tercet.tracks.playing import Playing
from tests.kits import PLAYERS, Kit, Workshop, short_kit, short_workshop
from tests.measure.loudness import gesture_levels_lufs
from tests.measure.midi import rolls_of
from tests.measure.sameness import differing_files
from tests.promises import PROMISES

Whole = NDArray[np.int16]
RATE_HZ = 48_000


@pytest.fixture(scope="session", params=PLAYERS)
def player(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="session")
def short(player: str, tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    return short_workshop(tmp_path_factory.getbasetemp(), player)


@pytest.fixture(scope="session")
def good(player: str, tmp_path_factory: pytest.TempPathFactory) -> Kit:
    return short_kit(tmp_path_factory.getbasetemp(), player)


@pytest.fixture
def copy(good: Kit, tmp_path: Path) -> Kit:
    """A kit of its own to spoil; its files are links until they are replaced."""
    shutil.copytree(good.folder, tmp_path / "kit", copy_function=os.link)
    return replace(good, folder=tmp_path / "kit")


@dataclass(frozen=True)
class Sabotage:
    """What is done to a kit, which promise it breaks, and what the measurement then says."""

    what: str
    breaks: str
    says: str
    do: Callable[[Workshop, Kit], object]


# Changes of files --------------------------------------------------------------------------------------------------


def change_samples(path: Path, change: Callable[[Whole], Whole]) -> None:
    """Put other samples into a 16 bit WAV file and leave all else as it is."""
    data, at = bytearray(path.read_bytes()), 12
    while data[at : at + 4] != b"data":
        at += 8 + struct.unpack_from("<I", data, at + 4)[0]
    (length,) = struct.unpack_from("<I", data, at + 4)
    samples = np.frombuffer(bytes(data[at + 8 : at + 8 + length]), "<i2").reshape(-1, 2)
    changed = change(samples.copy()).astype("<i2").tobytes()
    struct.pack_into("<I", data, at + 4, len(changed))
    data[at + 8 : at + 8 + length] = changed
    path.unlink()
    path.write_bytes(data)


def on_track(name: str, change: Callable[[Whole], Whole]) -> Callable[[Workshop, Kit], None]:
    return lambda _, kit: change_samples(kit.track_paths[name], change)


def on_all_tracks(change: Callable[[Whole], Whole]) -> Callable[[Workshop, Kit], None]:
    def do(_: Workshop, kit: Kit) -> None:
        for path in kit.track_paths.values():
            change_samples(path, change)

    return do


def louder(gain_db: float) -> Callable[[Whole], Whole]:
    return lambda samples: np.rint(samples * 10.0 ** (gain_db / 20.0)).astype(np.int16)


def late(frames: int) -> Callable[[Whole], Whole]:
    return lambda samples: np.concatenate([np.zeros((frames, 2), np.int16), samples[:-frames]])


def full_scale(samples: Whole) -> Whole:
    samples[300_000, 1] = -32_768
    return samples


def on_midi(
    kind: str, change: Callable[[mido.MetaMessage], Mapping[str, object]]
) -> Callable[[Workshop, Kit], None]:
    """Change messages of one kind: what `change` returns for one of them takes its fields' place."""

    def do(_: Workshop, kit: Kit) -> None:
        file = mido.MidiFile(kit.midi_path, charset="utf-8")
        for track in file.tracks:
            track[:] = [
                message.copy(**change(message)) if message.type == kind else message for message in track
            ]
        kit.midi_path.unlink()
        file.save(kit.midi_path)

    return do


def wrong_tag(_: Workshop, kit: Kit) -> None:
    path = kit.track_paths["only-strums"]
    data = path.read_bytes().replace(b"(only strums)", b"(only melody)")
    path.unlink()
    path.write_bytes(data)


# Changes of stems and takes ----------------------------------------------------------------------------------------


def with_stem(stems: Stems, name: StemName, samples: NDArray[np.float32]) -> Stems:
    return Stems(stems.sample_rate_hz, {**stems.by_name, name: samples.astype(np.float32)})


def on_stem(
    name: StemName, change: Callable[[NDArray[np.float32]], NDArray[np.float32]], *tracks: str
) -> Callable[[Workshop, Kit], object]:
    """Make tracks (all, when none is named) of stems of which one is changed."""
    return lambda short, kit: short.make(
        kit.folder,
        stems=with_stem(short.stems, name, change(short.stems.by_name[name])),
        names=tracks or None,
    )


def on_take(
    change: Callable[[Take], Take], tracks: Sequence[str] | None = None, *, midi: bool = True
) -> Callable[[Workshop, Kit], object]:
    """Play another take: in tracks (all of them without names, none with no names), and in the MIDI file if asked."""

    def do(short: Workshop, kit: Kit) -> Kit:
        take = change(short.take)
        stems = None if tracks == () else short.stems_of(take)
        return short.make(kit.folder, stems=stems, take=take if midi else None, names=tracks)

    return do


def a_single(take: Take) -> TakeNote:
    """Return a note of the tune from the middle that is struck alone and sounds for long enough to be measured."""
    singles = [
        note
        for note in take.notes
        if note.layer == "between" and note.part == "tune" and note.length_s >= 0.42
    ]
    return singles[len(singles) // 2]


def a_roll(take: Take) -> list[TakeNote]:
    """Return the strings of the first roll over three or more."""
    rolls: dict[int, list[TakeNote]] = {}
    for note in take.notes:
        if note.action == "roll":
            rolls.setdefault(note.gesture, []).append(note)
    return next(strings for strings in rolls.values() if len(strings) >= 3)


def swapped(take: Take, changes: Mapping[TakeNote, TakeNote | None]) -> Take:
    """Return the take with some notes replaced, or dropped where None takes their place."""
    notes = [changes.get(note, note) for note in take.notes]
    kept = sorted((note for note in notes if note is not None), key=lambda note: (note.onset_s, note.string))
    return replace(take, notes=tuple(kept))


def single(**changes: float) -> Callable[[Take], Take]:
    """Change fields of one single note of the tune, each by so much."""

    def change(take: Take) -> Take:
        note = a_single(take)
        moved = {name: getattr(note, name) + amount for name, amount in changes.items()}
        return swapped(take, {note: replace(note, **moved)})

    return change


def dropped(take: Take) -> Take:
    return swapped(take, {a_single(take): None})


def reversed_roll(take: Take) -> Take:
    roll = a_roll(take)
    onsets_s = [note.onset_s for note in reversed(roll)]
    return swapped(
        take, {note: replace(note, onset_s=at_s) for note, at_s in zip(roll, onsets_s, strict=True)}
    )


def late_top(take: Take) -> Take:
    top = a_roll(take)[-1]
    return swapped(take, {top: replace(top, onset_s=top.onset_s + 0.005)})


def mirrored_roll(take: Take) -> Take:
    """Strike the strings under the tune in the wrong order: the tune stays last and loudest."""
    under = a_roll(take)[:-1]
    keys = [note.midi for note in reversed(under)]
    return swapped(take, {note: replace(note, midi=key) for note, key in zip(under, keys, strict=True)})


def spread_roll(take: Take) -> Take:
    roll = a_roll(take)
    return swapped(
        take,
        {note: replace(note, onset_s=note.onset_s - 0.018 * place) for place, note in enumerate(roll[::-1])},
    )


def doubled(take: Take) -> Take:
    """Play a single note a second time, a fifth of a second later."""
    note = a_single(take)
    more = replace(note, onset_s=note.onset_s + 0.2, length_s=0.1)
    return replace(take, notes=tuple(sorted((*take.notes, more), key=lambda each: each.onset_s)))


def stray_string(take: Take) -> Take:
    """Strike a string of the first roll once more, long before it."""
    note = a_roll(take)[0]
    more = replace(note, onset_s=note.onset_s - 0.2, length_s=0.1)
    return replace(take, notes=tuple(sorted((*take.notes, more), key=lambda each: each.onset_s)))


def louder_between(take: Take) -> Take:
    """Strike the single notes 2 dB harder."""
    return replace(
        take,
        notes=tuple(
            replace(note, level_db=note.level_db + 2.0) if note.layer == "between" else note
            for note in take.notes
        ),
    )


def trace_of_melody(short: Workshop, kit: Kit) -> Kit:
    """Let the melody be heard a hundredth as loud in the track without it."""
    stems = short.stems
    both = stems.by_name["strums"] + np.float32(0.01) * stems.by_name["melody"]
    return short.make(kit.folder, stems=with_stem(stems, "strums", both), names=("without-melody",))


def hurried(sound: NDArray[np.float32], starts: Sequence[int]) -> NDArray[np.float32]:
    """Return a sound (frames, 2) that goes 3 cents quicker from each of some frames to the next."""
    frames = np.arange(len(sound), dtype=float)
    since = np.asarray(starts)[np.searchsorted(starts, frames, side="right") - 1]
    places = since + (frames - since) * 2.0 ** (3.0 / 1200.0)
    return np.stack([np.interp(places, frames, side) for side in sound.T], axis=1).astype(np.float32)


def one_string_sharp(short: Workshop, kit: Kit) -> Kit:
    """Tune string 1 three cents sharp."""
    true = short.playing.measured(short.source)

    class Sharp:
        """Plays each note quicker by 3 cents, from just before its stroke on."""

        identity, keys, notices = true.identity, true.keys, true.notices

        def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
            starts = [max(round((note.onset_s - 0.006) * RATE_HZ), 0) for note in take.notes]
            stems = true.stems(take, names)
            by_name = {name: hurried(sound, sorted({*starts, 0})) for name, sound in stems.by_name.items()}
            return replace(stems, by_name=by_name)

    one = replace(short.take, notes=tuple(note for note in short.take.notes if note.string == 1))
    rest = replace(short.take, notes=tuple(note for note in short.take.notes if note.string != 1))
    sharp = Workshop(short.song_path, Playing(short.playing.arrangement, Sharp()))
    others = short.stems_of(rest)
    mixed = {name: sharp.stems_of(one).by_name[name] + others.by_name[name] for name in others.by_name}
    return short.make(kit.folder, stems=replace(others, by_name={**mixed, "cues": others.by_name["cues"]}))


def knock_in_the_music(cues: NDArray[np.float32]) -> NDArray[np.float32]:
    more = cues.copy()
    more[5 * RATE_HZ : 5 * RATE_HZ + 4800] += cues[:4800]
    return more


SABOTAGES = [
    Sabotage(
        "a note left out of one track",
        "tracks add up",
        r"without-melody \+ only-melody",
        on_take(dropped, ("without-melody",), midi=False),
    ),
    Sabotage(
        "one sample three steps off",
        "tracks add up",
        r"leaves [2-4]\.0 steps",
        on_track("demo", lambda samples: samples + 3 * (np.arange(len(samples)) == 400_000)[:, None]),
    ),
    Sabotage(
        "a knock in the music", "tracks add up", "after the count-in", on_stem("cues", knock_in_the_music)
    ),
    Sabotage(
        "a knock in the music",
        "the count-in is in every track once",
        "knocks at",
        on_stem("cues", knock_in_the_music),
    ),
    Sabotage(
        "the count-in twice in one track",
        "the count-in is in every track once",
        "knocks",
        on_stem("cues", lambda cues: cues + np.roll(cues, 9600, axis=0), "without-strums"),
    ),
    Sabotage(
        "one track 10 ms late",
        "tracks start and end together",
        r"without-strums is 10\.00 ms late",
        on_track("without-strums", late(480)),
    ),
    Sabotage(
        "the quietest track 1 ms late",
        "tracks start and end together",
        r"only-strums is (0\.99|1\.0[01]) ms late",
        on_track("only-strums", late(48)),
    ),
    Sabotage(
        "one track a frame short",
        "tracks start and end together",
        "lengths",
        on_track("only-between", lambda samples: samples[:-1]),
    ),
    Sabotage(
        "a layer 2 dB louder in one track",
        "layers keep their level",
        r"without-strums holds 1\.259 of between",
        on_stem("between", lambda stem: stem * np.float32(10 ** (2 / 20)), "without-strums"),
    ),
    Sabotage(
        "the gain of one track half a decibel up",
        "layers keep their level",
        r"without-between holds 1\.059 of melody",
        on_track("without-between", louder(0.5)),
    ),
    Sabotage(
        "a trace of the layer that is left out",
        "layers keep their level",
        r"without-melody holds 0\.010 of melody",
        trace_of_melody,
    ),
    Sabotage(
        "strums as loud as the melody",
        "melody in front, strums at the back",
        "strums",
        on_stem("strums", lambda stem: stem * np.float32(10 ** (12 / 20)), "only-strums"),
    ),
    Sabotage(
        "single notes over the melody",
        "melody in front, strums at the back",
        "between",
        on_stem("between", lambda stem: stem * np.float32(10 ** (6 / 20)), "only-between"),
    ),
    Sabotage("all tracks 1 dB louder", "loud enough and no louder", "LUFS|dBTP", on_all_tracks(louder(1.0))),
    Sabotage("all tracks 1 dB softer", "loud enough and no louder", "of room", on_all_tracks(louder(-1.0))),
    Sabotage(
        "one sample at full scale",
        "nothing at full scale",
        "without-strums is at full scale in 1 frames",
        on_track("without-strums", full_scale),
    ),
    Sabotage(
        "a note dropped from the recordings",
        "what is written is heard, when it is written",
        "unheard",
        on_take(dropped, midi=False),
    ),
    Sabotage(
        "a note dropped from the MIDI file",
        "what is written is heard, when it is written",
        "unwritten",
        on_take(dropped, ()),
    ),
    Sabotage(
        "one note 5 ms late in the recordings",
        "what is written is heard, when it is written",
        r"up to [4-6]\.\d ms off",
        on_take(single(onset_s=0.005), midi=False),
    ),
    Sabotage(
        "a layer 4 ms late in all tracks",
        "what is written is heard, when it is written",
        r"up to [3-5]\.\d ms off",
        on_stem("between", lambda stem: np.roll(stem, 192, axis=0)),
    ),
    Sabotage(
        "the tune of one roll 5 ms late in the recordings",
        "the tune of a roll is heard when it is written",
        r"is \+[4-6]\.\d ms off",
        on_take(late_top, ("only-melody",), midi=False),
    ),
    Sabotage("one string 3 cents sharp", "in tune", r"is \+[2-4]\.\d cents sharp", one_string_sharp),
    Sabotage("one note a semitone high", "in tune", "cents", on_take(single(midi=1), midi=False)),
    Sabotage("a roll reversed", "rolls fall towards the tune", "isn't loudest", on_take(reversed_roll, ())),
    Sabotage(
        "the strings under the tune reversed",
        "rolls fall towards the tune",
        "doesn't fall",
        on_take(mirrored_roll, ()),
    ),
    Sabotage("a roll too slow", "rolls fall towards the tune", "takes|apart", on_take(spread_roll, ())),
    Sabotage("a note dropped", "MIDI holds the tune", r"missing: \(TuneNote", on_take(dropped, ())),
    Sabotage("a note a semitone high", "MIDI holds the tune", "missing", on_take(single(midi=1), ())),
    Sabotage("a note 40 ms late", "MIDI holds the tune", "off its beat", on_take(single(onset_s=0.04), ())),
    Sabotage("a note too many", "MIDI holds the tune", "added", on_take(doubled, ())),
    Sabotage("a string too many", "MIDI holds the tune", "nor of a roll", on_take(stray_string, ())),
    Sabotage(
        "a track with another name",
        "MIDI has a named track for each layer",
        "middle",
        on_midi("track_name", lambda name: {"name": name.name.replace("between", "middle")}),
    ),
    Sabotage(
        "two per cent too slow",
        "MIDI says tempo, meter and key",
        "tempo",
        on_midi("set_tempo", lambda message: {"tempo": round(message.tempo * 1.02)}),
    ),
    Sabotage(
        "four four",
        "MIDI says tempo, meter and key",
        "meter",
        on_midi("time_signature", lambda _: {"numerator": 4}),
    ),
    Sabotage(
        "C major", "MIDI says tempo, meter and key", "key", on_midi("key_signature", lambda _: {"key": "C"})
    ),
    Sabotage(
        "one word misspelt",
        "MIDI says the words",
        "sung",
        on_midi("lyrics", lambda word: {"text": word.text.replace("tea", "coffee")}),
    ),
    Sabotage(
        "all words 30 ms later",
        "MIDI says the words",
        "off their beat",
        on_midi("lyrics", lambda word: {"time": word.time + 64} if word.text == "The " else {}),
    ),
    Sabotage(
        "a section marked wrongly",
        "MIDI says the sections",
        "marked",
        on_midi("marker", lambda marker: {"text": marker.text.replace("verse 2", "chorus")}),
    ),
    Sabotage("a wrong title", "tracks say what they are", "16-only-strums.wav", wrong_tag),
]


@pytest.mark.parametrize("name", PROMISES)
def test_untouched_the_kit_keeps_every_promise(name: str, good: Kit) -> None:
    PROMISES[name](good)


@pytest.mark.parametrize("sabotage", SABOTAGES, ids=lambda each: f"{each.what}: {each.breaks}")
def test_what_is_spoilt_is_found(sabotage: Sabotage, short: Workshop, copy: Kit) -> None:
    sabotage.do(short, copy)
    with pytest.raises(AssertionError, match=sabotage.says):
        PROMISES[sabotage.breaks](replace(copy))


def test_every_promise_can_be_broken() -> None:
    assert {sabotage.breaks for sabotage in SABOTAGES} == set(PROMISES)


def test_one_byte_that_differs_is_found(good: Kit, copy: Kit) -> None:
    assert differing_files(good.folder, copy.folder) == ()
    path = copy.track_paths["only-melody"]
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.unlink()
    path.write_bytes(data)
    assert differing_files(good.folder, copy.folder) == (path.name,)
    copy.midi_path.unlink()
    assert differing_files(good.folder, copy.folder) == (path.name, copy.midi_path.name)


def test_a_layer_2_db_louder_is_measured_as_such_on_every_gesture(
    short: Workshop, good: Kit, copy: Kit
) -> None:
    onsets_s = [roll.notes[0].onset_s for roll in rolls_of(good.midi, "between")]
    before = gesture_levels_lufs(good.alone["between"], onsets_s)
    on_take(louder_between, ("only-between",))(short, copy)
    after = gesture_levels_lufs(replace(copy).alone["between"], onsets_s)
    assert np.abs(after - before - 2.0).max() <= 0.5
    assert np.median(after - before) == pytest.approx(2.0, abs=0.1)
