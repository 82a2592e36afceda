"""Laws of recordings, on a synthesiser whose samples can be foretold: choices add up, clips are the one take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.performing import Take, TakeNote
from tercet.song import LAYERS, Players, parse_song
from tercet.song.choice_words import parse_choice
from tercet.song.note_choice import Choice
from tercet.sound import Stems
from tercet.sound.loudness import Meter
from tercet.theory import TUNINGS, Tuning
from tercet.tracks.balance import Balance
from tercet.tracks.clips import batches
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.clips.batches import Batch
from tercet.tracks.clips.cutting import NATURAL, voices_of
from tercet.tracks.clips.mixing import add_cues
from tercet.tracks.layer_levels import KnownMeter
from tercet.tracks.playing import Playing
from tercet.tracks.practice_forms import TrackOptions, timeline_of
from tercet.tracks.recipes import RECIPES, Recipe, recipe_named
from tercet.tracks.recording import GUIDE_DB, Recording
from tercet.tracks.timelines import ALL, Passage, Source, TrackTimeline
from tests.kits import SHORT_SONG
from tests.measure.audio import Track
from tests.measure.loudness import gesture_levels_lufs
from tests.sound.fake import FakeSynthesiser

LSB = 2.0**-15
DAMPED_S = 0.09
PLAIN = Balance({}, 0.0, 0.0, -20.0, -6.0)

MIXES = {"demo", "flat", *(f"{how}-{layer}" for how in ("without", "only") for layer in LAYERS)}
"""Tracks that are mixes of the whole song's layers, unless their highest peak lies beside their cues."""

CHOICES = (
    "melody", "between", "strums", "open", "roll", "single", "tune", "chord", "string 1", "string 4",
    "melody and open", "(roll or strums) and not string 2", "bar 2-3", "phrase 1", "pass 2 and between",
)  # fmt: skip


@cache
def arrangement() -> Arrangement:
    song = parse_song(SHORT_SONG)
    return arrange(song, song_tuning(song))


@cache
def playing() -> Playing:
    return Playing(arrangement(), FakeSynthesiser(), dry=True)


def recording(folder: Path, timelines: Sequence[TrackTimeline]) -> Recording:
    return Recording(playing(), timelines, BatchCache(folder))


def track(recipe: Recipe, options: TrackOptions | None = None) -> TrackTimeline:
    return timeline_of(recipe, playing().piece(recipe.piece), options or TrackOptions())


def heard(choice: Choice) -> TrackTimeline:
    return track(Recipe("mine", "a choice", heard=choice))


def sound(made: Recording, index: int) -> NDArray[np.float32]:
    return np.concatenate(list(made.music(index, PLAIN)))


@settings(max_examples=12)
@given(text=st.sampled_from(CHOICES))
def test_a_choice_and_its_complement_are_the_demo(
    text: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    choices = [parse_choice(each) for each in (text, f"not ({text})", "all")]
    made = recording(tmp_path_factory.mktemp("batches"), [heard(choice) for choice in choices])
    chosen, others, demo = (sound(made, index) for index in range(3))
    assert np.abs(demo).max() > 0.01
    assert np.abs(chosen + others - demo).max() <= LSB / 4


def test_a_track_put_together_is_the_take_played_in_one_go(tmp_path: Path) -> None:
    """To a quarter of a step of 16 bits, up to the last bar: its ringing end is let go and faded in its own way."""
    made = recording(tmp_path, [heard(ALL), track(recipe_named("echo"))])
    demo, start = sound(made, 0), made.plan(0).passages[0].start_frame
    performed = playing().performed(Source())
    notes = tuple(
        replace(
            placed.note,
            onset_s=(placed.onset_frame + start) / 48_000,
            length_s=(placed.end_frame - placed.onset_frame) / 48_000,
        )
        for placed in performed.notes
    )
    take = replace(performed.take, notes=notes, clicks=(), length_s=len(demo) / 48_000)
    stems: Stems = playing().stems_of(take, Source())
    whole = np.sum([stems.by_name[layer] for layer in LAYERS], axis=0)
    before_the_end = start + performed.frame(arrangement().bars[-1].start_beat)
    assert np.abs(whole).max() > 0.01
    assert np.abs(demo[:before_the_end] - whole[:before_the_end]).max() <= LSB / 4


@settings(max_examples=6)
@given(
    names=st.lists(st.sampled_from([recipe.name for recipe in RECIPES]), min_size=1, max_size=4, unique=True)
)
def test_other_tracks_change_neither_a_track_nor_its_key(
    names: list[str], tmp_path_factory: pytest.TempPathFactory
) -> None:
    alone = recording(tmp_path_factory.mktemp("batches"), [track(recipe_named("turns-bars"))])
    among = recording(
        tmp_path_factory.mktemp("batches"),
        [*(track(recipe_named(name)) for name in names), track(recipe_named("turns-bars"))],
    )
    assert among.track_key(len(names)) == alone.track_key(0)
    assert np.abs(sound(among, len(names)) - sound(alone, 0)).max() <= LSB


def test_a_track_s_key_tells_every_built_in_track_apart(tmp_path: Path) -> None:
    made = recording(tmp_path, [track(recipe) for recipe in RECIPES])
    keys = {made.track_key(index) for index in range(len(RECIPES))}
    assert len(keys) == len(RECIPES)


def test_mixes_of_the_song_s_layers_are_known_and_all_else_is_measured(tmp_path: Path) -> None:
    options = [TrackOptions(), TrackOptions(count_in_bars=1)]
    recipes = [recipe for recipe in RECIPES if recipe.piece == "song"]
    for folder, each in enumerate(options):
        made = recording(tmp_path / str(folder), [track(recipe, each) for recipe in recipes])
        balance = made.balance()
        known = set()
        for index, recipe in enumerate(recipes):
            told, measured = made.meter(index, balance, 3.0), Meter(48_000)
            if isinstance(told, KnownMeter):
                known.add(recipe.name)
                for block in add_cues(made.music(index, balance, gain_db=3.0), made.plan(index).cues):
                    told.feed(block)
                    measured.feed(block)
                assert told.finish() == pytest.approx(measured.finish(), abs=2e-3)
        assert len(known & MIXES) >= 4
        assert not known & {"echo", "slow", "contrast", "build-up", "turns-bars"}


@pytest.mark.parametrize(
    "other",
    [
        TrackOptions(speed=Fraction(9, 10)),
        TrackOptions(click=True),
        TrackOptions(guide=True),
        TrackOptions(count_in_bars=2),
        TrackOptions(bars="1-3"),
    ],
    ids=["speed", "click", "guide", "count-in", "bars"],
)
def test_whatever_is_asked_of_a_track_changes_its_key(other: TrackOptions, tmp_path: Path) -> None:
    recipe = recipe_named("without-melody")
    made = recording(tmp_path, [track(recipe), track(recipe, other)])
    assert made.track_key(0) != made.track_key(1)


@pytest.mark.parametrize("name", ["turns-bars", "turns-phrases-swap", "echo", "loop", "learn", "contrast"])
def test_after_a_change_nothing_that_was_played_rings_on(name: str, tmp_path: Path) -> None:
    """Dry and with all notes of each passage alone: 90 ms after its end its sound is over, but for the last."""
    timeline = track(recipe_named(name))
    passages = timeline.passages
    made = recording(tmp_path, [timeline])
    plan = made.plan(0)
    for number, placed in enumerate(plan.passages[:-1]):
        following = passages[number + 1]
        if following.heard == placed.passage.heard and following.start_beat == placed.passage.end_beat:
            continue
        over = placed.end_frame + round(DAMPED_S * 48_000)
        for sounding in plan.soundings:
            if not placed.start_frame - 9_600 <= sounding.start_frame < placed.end_frame - 9_600:
                continue
            samples = made.read(sounding.clip)
            rest = samples[max(over - sounding.start_frame, 0) :]
            notes = {voice.number for voice in sounding.clip.voices}
            owned = voices_of(playing().performed(placed.passage.source), placed.passage, following)[0]
            if notes <= {voice.number for voice in owned}:
                assert not len(rest) or np.abs(rest).max() <= LSB, f"{name}: passage {number + 1} rings on"


def test_a_voice_that_rings_past_a_change_ends_there() -> None:
    """Each note that would ring on is cut at the change, and no other is."""
    performed = playing().performed(Source())
    bars = arrangement().bars
    for bar, next_bar in pairwise(bars[1:]):
        passage = Passage(Source(), bar.start_beat, bar.start_beat + bar.length_beat)
        silent = Passage(
            Source(), next_bar.start_beat, next_bar.start_beat + 1, heard=parse_choice("nothing")
        )
        end_frame = performed.frame(passage.end_beat)
        plain, soft = voices_of(performed, passage, silent)
        assert soft == []
        for voice in plain:
            natural = performed.notes[voice.number].end_frame
            assert (voice.end_frame == NATURAL) == (natural <= end_frame + 48)
            assert not voice.rings_out


def test_roll_and_tune_note_are_in_the_same_passage() -> None:
    """Strings that are struck before a bar line on the way to its first beat belong to that beat."""
    performed = playing().performed(Source())
    early = 0
    for bar in arrangement().bars[1:]:
        frame = performed.frame(bar.start_beat)
        inside = performed.between(bar.start_beat, bar.start_beat + bar.length_beat)
        rolls: dict[int, list[TakeNote]] = {}
        for placed in performed.notes:
            if placed.note.action == "roll":
                rolls.setdefault(placed.note.gesture, []).append(placed.note)
        for index in inside:
            note = performed.notes[index].note
            if note.action == "roll":
                early += performed.notes[index].onset_frame < frame
                assert {each.beat for each in rolls[note.gesture]} == {note.beat}
    assert early >= 3


def test_what_rings_out_on_a_batch_is_not_heard_in_the_next_clip(tmp_path: Path) -> None:
    """Before its first note a clip is silent, also where the one before it was let go late."""
    recipes = [recipe_named(name) for name in ("demo", "turns-bars", "echo")]
    made = recording(tmp_path, [track(recipe) for recipe in recipes])
    for index, recipe in enumerate(recipes):
        for sounding in made.plan(index).soundings:
            clip = sounding.clip
            placed = playing().performed(clip.source).notes
            first = min(placed[voice.number].onset_frame for voice in clip.voices)
            before = made.read(clip)[: first - made._laid_out[1][clip].piece_frame - 1]
            assert not before.any(), f"{recipe.name}: {np.abs(before).max()} before a clip"


def test_takes_of_the_fake_are_repeatable() -> None:
    take: Take = playing().performed(Source()).take
    assert take == Playing(arrangement(), FakeSynthesiser(), dry=True).performed(Source()).take


def test_every_batch_is_played_once_and_goes_after_its_last_track(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All built-in tracks and the balance, in one process with room for one batch: each is played once, none stays."""
    monkeypatch.setattr(batches, "BATCH_FRAMES", 48_000)
    cache = BatchCache(tmp_path / "work", room_bytes=1)
    made = Recording(playing(), [track(recipe) for recipe in RECIPES], cache)
    played: list[Batch] = []
    play = made._played

    def counted(batch: Batch) -> NDArray[np.float32]:
        played.append(batch)
        return play(batch)

    monkeypatch.setattr(made, "_played", counted)
    balance = made.balance()
    last = {number: index for index in range(len(RECIPES)) for number in made.track_batches(index)}
    for index in range(len(RECIPES)):
        drop_after = {number for number, user in last.items() if user == index}
        assert sum(1 for _ in made.music(index, balance, drop_after=drop_after)) > 0
    assert len(made.batches) > 50
    assert sorted(map(id, played)) == sorted(map(id, made.batches))
    assert list((tmp_path / "work").iterdir()) == []


def test_a_batch_is_one_track_s_own_or_shared(tmp_path: Path) -> None:
    made = recording(tmp_path, [track(recipe) for recipe in RECIPES])
    everything = range(len(RECIPES))
    own = [number for index in everything for number in made.own_batches(index)]
    shared = made.shared_batches(everything)
    assert len(set(own)) == len(own)
    assert sorted([*own, *shared]) == list(range(len(made.batches)))
    names = [recipe.name for recipe in RECIPES]
    assert made.own_batches(names.index("slow"))
    assert not made.own_batches(names.index("demo"))
    demo_alone = made.shared_batches([names.index("demo")])
    assert set(made.track_batches(names.index("demo"))) <= set(demo_alone) < set(shared)


def test_what_the_balance_is_measured_in_is_nobody_s_own(tmp_path: Path) -> None:
    made = recording(tmp_path, [track(recipe_named("slow")), track(recipe_named("flat"))])
    assert len(made.shared_batches([])) == 6
    assert len(made.own_batches(0)) == 3
    assert not made.own_batches(1)


def test_a_pick_up_without_a_note_is_counted(tmp_path: Path) -> None:
    """Chords alone begin with the first full bar: knocks lead up to it, where the demo's stop at the pick-up."""
    made = recording(tmp_path, [track(recipe_named(name)) for name in ("demo", "chords")])
    knocks = [[cue.frame for cue in made.plan(index).cues if cue.kind == "count"] for index in (0, 1)]
    assert [len(each) for each in knocks] == [2, 3]
    first = made.plan(1).passages[0]
    chords = playing().performed(first.passage.source)
    bar = arrangement().bars[1]
    bar_frame = first.start_frame + chords.frame(bar.start_beat) - chords.frame(first.passage.start_beat)
    assert knocks[1][:2] == knocks[0]
    assert np.diff([*knocks[1], bar_frame]) == pytest.approx(48_000 * 60 / 132, abs=480)


TWO_VOICES = """\
title: Two Voices
meter: 6/8
tempo: 70
form: verse*2
sections:
  verse: |
    chords  | C               | G7            | C
    melody  G4 | C5:3 B4 A4 G4 | F4:3 D4:3     | E4:6
    between 2 . | E4:3 .:3      | D4:2 B4 D4:3 | C4:6
    between . | E4:6            | B4:3 .:3     | .:3 C4:3
"""


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=TUNINGS)
@pytest.mark.parametrize("players", get_args(Players))
def test_with_a_second_voice_stems_add_up_and_the_melody_sounds_wherever_it_is(
    tmp_path: Path, tuning: Tuning, players: Players
) -> None:
    song = replace(parse_song(TWO_VOICES), players=players)
    played = Playing(arrange(song, tuning), FakeSynthesiser(), dry=True)
    names = (*LAYERS, "all", "not melody")
    tracks = [Recipe("mine", "a choice", heard=parse_choice(name)) for name in names]
    made = Recording(
        played,
        [timeline_of(recipe, played.piece("song"), TrackOptions()) for recipe in tracks],
        BatchCache(tmp_path),
    )
    sounds = dict(zip(names, (sound(made, index) for index in range(len(names))), strict=True))
    assert np.abs(sum(sounds[layer] for layer in LAYERS) - sounds["all"]).max() <= LSB / 4
    start = made.plan(0).passages[0].start_frame
    main = [note for note in played.performed(Source()).notes if note.note.layer == "melody"]
    assert {note.note.pass_number for note in main} == {1, 2}
    for placed in main:
        sounding = slice(start + placed.onset_frame, start + placed.onset_frame + 4800)
        assert np.abs(sounds["melody"][sounding]).max() > 0.01
        assert np.abs(sounds["all"][sounding] - sounds["not melody"][sounding]).max() > 0.01


# What only-what-changed stands on: equal names and keys, equal sounds


def edited(change: str) -> Playing:
    """Return the song played with one thing changed that moves no note in time."""
    made = arrangement()
    if change == "softer melody":
        made = replace(made, song=replace(made.song, dynamics=replace(made.song.dynamics, melody="p")))
    if change == "one note higher":
        place = next(at for at, each in enumerate(made.gestures) if each.bar_number == 3)
        one = made.gestures[place]
        notes = (*one.notes[:-1], replace(one.notes[-1], midi=one.notes[-1].midi + 1))
        gestures = (*made.gestures[:place], replace(one, notes=notes), *made.gestures[place + 1 :])
        made = replace(made, gestures=gestures)
    return Playing(made, FakeSynthesiser(), dry=True)


EDITS = ("softer melody", "one note higher")


@pytest.mark.parametrize("change", EDITS)
def test_what_changed_is_never_taken_from_the_shelf_of_what_was(tmp_path: Path, change: str) -> None:
    """Two songs that differ in what sounds, not in when: on one cache each still has its own sound."""
    timelines = [track(recipe_named(name)) for name in ("demo", "only-melody", "turns-bars")]
    sounds: list[list[NDArray[np.float32]]] = []
    for folder in ("shared", "shared", "own"):
        played = edited("nothing" if not sounds else change)
        made = Recording(played, timelines, BatchCache(tmp_path / folder, shared=True))
        sounds.append([sound(made, index) for index in range(len(timelines))])
    before, shared, own = sounds
    assert list((tmp_path / "shared").iterdir())
    for index in range(len(timelines)):
        assert np.abs(before[index] - own[index]).max() > 0.001
        assert np.array_equal(shared[index], own[index])


@pytest.mark.parametrize("change", EDITS)
def test_a_track_that_sounds_otherwise_has_another_key(tmp_path: Path, change: str) -> None:
    recipes = [recipe_named(name) for name in ("demo", "only-melody", "only-strums", "echo", "loop", "slow")]
    timelines = [track(recipe) for recipe in recipes]
    made = [
        Recording(edited(each), timelines, BatchCache(tmp_path / str(at)))
        for at, each in enumerate(("nothing", change))
    ]
    changed = {
        recipe.name
        for index, recipe in enumerate(recipes)
        if not np.array_equal(sound(made[0], index), sound(made[1], index))
    }
    keys = {
        recipe.name
        for index, recipe in enumerate(recipes)
        if made[0].track_key(index) != made[1].track_key(index)
    }
    assert "demo" in changed
    assert keys == changed
    assert made[0].reference_key != made[1].reference_key


def test_a_batch_is_kept_under_a_name_of_its_own_whichever_voice_is_another(tmp_path: Path) -> None:
    made = recording(tmp_path, [track(recipe) for recipe in RECIPES])
    names = {made._name(batch) for batch in made.batches}
    assert len(names) == len(made.batches)
    for batch in made.batches[::7]:
        clip = batch.clips[0]
        voice = clip.voices[0]
        for other in (
            voice._replace(number=voice.number + 1),
            voice._replace(end_frame=voice.end_frame + 1),
            voice._replace(rings_out=not voice.rings_out),
        ):
            voices = (other, *clip.voices[1:])
            one = replace(batch, clips=(replace(clip, voices=voices), *batch.clips[1:]))
            assert made._name(one) not in names


# Gains, rooms and ends


def test_a_guide_is_what_is_left_out_softly_and_nothing_else(tmp_path: Path) -> None:
    recipe = recipe_named("without-melody")
    made = recording(
        tmp_path, [track(recipe), track(recipe_named("only-melody")), track(recipe, TrackOptions(guide=True))]
    )
    without, melody, guided = (sound(made, index) for index in range(3))
    softly = np.float32(10.0 ** (GUIDE_DB / 20.0)) * melody
    assert 0.05 < np.abs(softly).max() / np.abs(melody).max() < 0.5
    assert np.abs(without + softly - guided).max() <= LSB


def test_what_makes_flat_as_loud_as_layered_is_for_flat_alone(tmp_path: Path) -> None:
    made = recording(tmp_path, [track(recipe_named(name)) for name in ("demo", "flat")])
    louder = Balance({}, 6.0, 0.0, -20.0, -6.0)
    for index, gain in ((0, 1.0), (1, 10.0 ** (6.0 / 20.0))):
        plain, raised = (np.concatenate(list(made.music(index, balance))) for balance in (PLAIN, louder))
        assert np.abs(plain).max() > 0.01
        assert np.abs(raised - np.float32(gain) * plain).max() <= LSB


def test_a_track_in_a_room_is_the_take_played_there_in_one_go(tmp_path: Path) -> None:
    """The room goes on after each clip: nothing of it is cut off where batches are put together."""
    played = Playing(arrangement(), FakeSynthesiser())
    made = Recording(played, [track(recipe_named("demo"))], BatchCache(tmp_path))
    demo, start = sound(made, 0), made.plan(0).passages[0].start_frame
    performed = played.performed(Source())
    notes = tuple(
        replace(
            placed.note,
            onset_s=(placed.onset_frame + start) / 48_000,
            length_s=(placed.end_frame - placed.onset_frame) / 48_000,
        )
        for placed in performed.notes
    )
    take = replace(performed.take, notes=notes, clicks=(), length_s=len(demo) / 48_000)
    stems = played.stems_of(take, Source())
    whole = np.sum([stems.by_name[layer] for layer in LAYERS], axis=0)
    before_the_end = start + performed.frame(arrangement().bars[-1].start_beat)
    assert played.tail_frames > 0
    assert np.abs(demo[:before_the_end] - whole[:before_the_end]).max() <= LSB


@pytest.mark.parametrize("name", ["demo", "only-strums", "loop"])
def test_the_ringing_end_of_a_track_fades_to_nothing(tmp_path: Path, name: str) -> None:
    """In the last hundredth of a second next to nothing is left of what rang two seconds before."""
    made = recording(tmp_path, [track(recipe_named(name))])
    samples = sound(made, 0)
    last = int(np.flatnonzero(np.abs(samples).max(axis=1))[-1])
    rang = np.abs(samples[last - 96_000 : last - 48_000]).max()
    assert rang > 0.01
    assert np.abs(samples[last - 480 :]).max() < 0.01 * rang


@pytest.mark.parametrize("flat", [False, True], ids=["layered", "flat"])
def test_layers_that_are_balanced_lie_equally_far_from_their_marks(tmp_path: Path, flat: bool) -> None:
    """Measured anew, gesture by gesture where each is struck, in each layer of a track alone."""
    recipes = [
        Recipe("mine", "a layer", flat=flat, heard=parse_choice(layer)) for layer in ("melody", "strums")
    ]
    made = recording(tmp_path, [track(recipe, TrackOptions(count_in_bars=0)) for recipe in recipes])
    balance = made.balance()
    apart = []
    for index, recipe in enumerate(recipes):
        samples = np.concatenate(list(made.music(index, balance)))
        start = made.plan(index).passages[0].start_frame
        struck: dict[int, tuple[int, float]] = {}
        for placed in playing().performed(Source(flat=flat)).notes:
            if placed.note.layer == str(recipe.heard):
                struck.setdefault(placed.note.gesture, (start + placed.onset_frame, placed.note.mark_db))
        heard = [each for each in struck.values() if 0 <= each[0] < len(samples) - 19_200]
        levels = gesture_levels_lufs(Track(samples, 48_000), [frame / 48_000 for frame, _ in heard])
        apart.append(np.median(levels - np.array([mark_db for _, mark_db in heard])))
    assert len(struck) >= 4
    assert apart[0] == pytest.approx(apart[1], abs=0.25)
