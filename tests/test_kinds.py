"""Every built-in kind of track, made by the real command, keeps its promises; and each promise can be broken."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import resample

from tests.class_kits import PLAYER, ClassKit, Whole, class_kit, short_class_kit
from tests.kind_promises import KIND_PROMISES
from tests.kits import PLAYERS, ROOT, run_tercet
from tests.measure.audio import Track
from tests.measure.onsets import onsets_s
from tests.measure.steps import pitch_class_shares
from tests.turn_promises import TURN_PROMISES, echo_spaces, quiet_by_db

PROMISES = {**TURN_PROMISES, **KIND_PROMISES}
RATE_HZ = 48_000

SONGS = sorted((ROOT / "songs").glob("*.yaml"))
QUICK_TRACKS = "demo,echo,loop,turns-bars,turns-bars-swap"
"""Tracks that are made of every song; all are made of the short one."""

QUICK_PROMISES = (
    "a bell at each change",
    "the count-in is on the beat",
    "who hasn't the turn is silent",
    "turns and their swap are the demo",
    "a roll belongs to the turn of its tune note",
    "an echo's space is as long as its phrase",
    "a phrase that comes again is the demo's, as loud",
    "a loop goes round without a seam",
    "one gain for all, and no file too high",
)

CHORDS = ("A C E", "C E G", "F A C", "E G# B D", "A C E", "D F A", "G B D F", "C E G")
"""The chords of the short song, a bar each, twice."""

NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


@pytest.fixture(scope="session")
def good(tmp_path_factory: pytest.TempPathFactory) -> ClassKit:
    return short_class_kit(tmp_path_factory.getbasetemp())


@pytest.mark.parametrize("player", PLAYERS)
@pytest.mark.parametrize("name", PROMISES)
def test_a_kit_keeps_every_promise(name: str, player: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    PROMISES[name](short_class_kit(tmp_path_factory.getbasetemp(), player))


def test_a_kit_holds_every_kind_that_is_listed(good: ClassKit) -> None:
    told, all_told = (
        [line.split()[0] for line in run_tercet("kit", *song, "--list").splitlines() if line.strip()]
        for song in ([good.song_path], [])
    )
    assert list(good.claims) == told
    assert all_told == [*told, "without-second", "only-second"]


@pytest.mark.parametrize("song", SONGS, ids=lambda path: path.stem)
def test_the_tracks_of_every_song_keep_their_promises(
    song: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    kit = class_kit(song, tmp_path_factory.getbasetemp(), QUICK_TRACKS)
    broken = {}
    for name in QUICK_PROMISES:
        try:
            PROMISES[name](kit)
        except AssertionError as error:
            broken[name] = str(error).partition("\n")[0]
    assert broken == {}


def chord_shares(kit: ClassKit) -> list[float]:
    """Return for each bar of the chords' track how much of its power lies on notes of its chord."""
    bars = [bar for bar in kit.claims["chords"].bars if bar.number > 0]
    shares = []
    for bar, notes in zip(bars, CHORDS * 2, strict=True):
        part = kit.music("chords").samples[kit.frame(bar.start_s + 0.05) : kit.frame(bar.end_s - 0.02)]
        heard = pitch_class_shares(part, RATE_HZ)
        shares.append(float(sum(heard[NAMES.index(note)] for note in notes.split())))
    return shares


def test_chords_are_heard_bar_by_bar(good: ClassKit) -> None:
    assert min(chord_shares(good)) >= 0.9


def test_a_chord_in_the_wrong_place_is_found(good: ClassKit) -> None:
    shares = chord_shares(good.spoilt("chords", from_elsewhere(good.frame(5.5), good.frame(4.1), 50_000)))
    assert min(shares) < 0.9


# Sabotage ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sabotage:
    """What is done to one file of the kit, which promise it breaks, and what the measurement then says."""

    what: str
    track: str
    breaks: str
    says: str
    change: Callable[[ClassKit, Whole], Whole]


def at(kit: ClassKit, name: str, index: int, *whose: str) -> tuple[int, int]:
    """Return first and last frame of a turn."""
    turn = kit.claims[name].turns_of(*(whose or ("listen", "yours", "together")))[index]
    return kit.frame(turn.start_s), kit.frame(turn.end_s)


def from_elsewhere(place: int, source: int, length: int) -> Callable[[Whole], Whole]:
    def change(samples: Whole) -> Whole:
        samples[place : place + length] = samples[source : source + length].copy()
        return samples

    return change


def louder(samples: Whole, gain_db: float) -> Whole:
    return np.asarray(np.rint(samples * 10.0 ** (gain_db / 20.0)), np.int16)


def held_back(samples: Whole, frame: int, frames: int = 1) -> Whole:
    """Let all from a frame on come later."""
    return np.concatenate([samples[:frame], np.zeros((frames, 2), np.int16), samples[frame:-frames]])


def whole(samples: np.ndarray) -> Whole:
    return np.asarray(np.rint(samples * 32_768), np.int16)


def echo_late(kit: ClassKit, samples: Whole) -> Whole:
    return held_back(samples, at(kit, "echo", 4)[0] - 4_800)


def music_of_echo_late(kit: ClassKit, samples: Whole) -> Whole:
    """Let a phrase come two frames later and its bell stay."""
    music = whole(kit.music("echo").samples)
    first, last = at(kit, "echo", 2)
    moved = music.copy()
    moved[first - 4_800 : last + 9_600] = music[first - 4_802 : last + 9_598]
    return samples - music + moved


def turn_swapped(kit: ClassKit, samples: Whole) -> Whole:
    first, last = at(kit, "turns-bars", 4)
    samples[first:last] = whole(kit.track("turns-bars-swap").samples)[first:last]
    return samples


def leak(kit: ClassKit, samples: Whole) -> Whole:
    first, last = at(kit, "turns-bars", 1, "yours")
    samples[first:last] += louder(whole(kit.music("demo").samples)[first:last], -35.0)
    return samples


def echo_leak(kit: ClassKit, samples: Whole) -> Whole:
    first, last = at(kit, "echo", 0, "yours")
    start, _ = at(kit, "echo", 0, "listen")
    samples[first:last] += louder(whole(kit.music("echo").samples)[start : start + last - first], -35.0)
    return samples


def bell_missing(name: str, index: int) -> Callable[[ClassKit, Whole], Whole]:
    def change(kit: ClassKit, samples: Whole) -> Whole:
        frame = kit.music(name).cue_frames[kit.claims[name].cues_s("bell")[index]]
        bell = whole(kit.sounds.bell)[:, None]
        samples[frame : frame + len(bell)] -= bell
        return samples

    return change


def knock_late(kit: ClassKit, samples: Whole) -> Whole:
    """Let the second knock come 4 ms late."""
    first = kit.frame(kit.claims["demo"].cues_s("count")[1])
    samples[first : first + 5_000] = samples[first - 192 : first + 4_808].copy()
    return samples


def note_dropped(kit: ClassKit, samples: Whole) -> Whole:
    """Silence a quarter of a second within one turn."""
    first, _ = at(kit, "turns-bars", 6)
    samples[first + 26_000 : first + 38_000] = 0
    return samples


def rolls_swapped(kit: ClassKit, samples: Whole) -> Whole:
    """Let what sounds before each change be played by the other."""
    other = whole(kit.track("turns-bars-swap").samples)
    for turn in kit.claims["turns-bars"].turns_of("listen", "yours")[1:]:
        change = kit.frame(turn.start_s)
        samples[change - 4_400 : change] = other[change - 4_400 : change]
    return samples


def joint_clicks(kit: ClassKit, samples: Whole) -> Whole:
    joint, _ = at(kit, "loop", 2)
    fall = np.exp(-np.arange(200) / 60.0)[:, None]
    samples[joint : joint + 200] += np.rint(3_000 * fall).astype(np.int16)
    return samples


def round_swapped(kit: ClassKit, samples: Whole) -> Whole:
    (first, last), (start, _) = at(kit, "build-up", 0), at(kit, "build-up", 1)
    return from_elsewhere(first, start, last - first)(samples)


def flat_softer(kit: ClassKit, samples: Whole) -> Whole:
    turns = kit.claims["contrast"].turns_of("listen", "yours", "together")
    for index in range(0, len(turns), 2):
        first, last = at(kit, "contrast", index)
        samples[first:last] = louder(samples[first:last], -1.0)
    return samples


def contrast_swapped(kit: ClassKit, samples: Whole) -> Whole:
    (first, last), (start, _) = at(kit, "contrast", 1), at(kit, "contrast", 0)
    return from_elsewhere(first, start, last - first)(samples)


def rung_of_ladder(kit: ClassKit, samples: Whole) -> Whole:
    """Play the second round 2 % too fast."""
    first, last = at(kit, "ladder", 1)
    quicker = resample(samples[first:last].astype(float), round((last - first) / 1.02))
    samples[first:last] = 0
    samples[first : first + len(quicker)] = np.rint(quicker).clip(-32_768, 32_767).astype(np.int16)
    return samples


def rounds_of_ladder_swapped(kit: ClassKit, samples: Whole) -> Whole:
    first, last = at(kit, "ladder", 1)
    start, _ = at(kit, "ladder", 2)
    return from_elsewhere(first, start, last - first)(samples)


def faster_by(ratio: float) -> Callable[[ClassKit, Whole], Whole]:
    def change(kit: ClassKit, samples: Whole) -> Whole:
        quicker = resample(samples.astype(float), round(len(samples) / ratio))
        samples[:] = 0
        samples[: len(quicker)] = np.rint(quicker).clip(-32_768, 32_767).astype(np.int16)
        return samples

    return change


def three_times(kit: ClassKit, samples: Whole) -> Whole:
    turns = [turn for turn in kit.claims["learn"].turns_of("together") if ", 4 of 4" in turn.step]
    samples[kit.frame(turns[0].start_s) : kit.frame(turns[0].end_s)] = 0
    return samples


def stroke_missing(kit: ClassKit, samples: Whole) -> Whole:
    """Let the first stroke of a string fade before the second, and take the second out up to the third."""
    first, last = at(kit, "tune-up", 1)
    struck = [round(each * RATE_HZ) for each in onsets_s(Track(kit.music("tune-up").samples, RATE_HZ))]
    _, second, third = (frame for frame in struck if first - 2_400 <= frame < last - 2_400)
    fade = np.linspace(1.0, 0.0, 24_000)[:, None]
    start = second - 28_000
    samples[start : start + 24_000] = np.rint(samples[start : start + 24_000] * fade)
    samples[start + 24_000 : third - 200] = 0
    return samples


def string_sharp(kit: ClassKit, samples: Whole) -> Whole:
    """Tune one string 3 cents up."""
    first, last = at(kit, "tune-up", 2)
    sharp = resample(samples[first:last].astype(float), round((last - first) * 2.0 ** (-3 / 1200)))
    samples[first : first + len(sharp)] = np.rint(sharp).astype(np.int16)
    return samples


def mixed_in(name: str, gain_db: float) -> Callable[[ClassKit, Whole], Whole]:
    return lambda kit, samples: samples + louder(whole(kit.music(name).samples), gain_db)


def only_cues(kit: ClassKit, samples: Whole) -> Whole:
    return samples - whole(kit.music("only-between").samples)


def part_silent(kit: ClassKit, samples: Whole) -> Whole:
    samples[200_000:340_000] = 0
    return samples


def up(gain_db: float) -> Callable[[ClassKit, Whole], Whole]:
    return lambda kit, samples: louder(samples, gain_db)


CUES, BELLS, COUNT, SILENT, SWAP, ROLLS, ECHO = TURN_PROMISES
SUMS, NAMED, TUNE, AGAIN, LOOP, BUILD_UP, FLAT, LADDER, SLOW, LEARN, TUNE_UP, GAINS = KIND_PROMISES

SABOTAGES = [
    Sabotage("an echo a frame late", "echo", ECHO, "frames", echo_late),
    Sabotage("a phrase late, its bell in time", "echo", ECHO, "by the phrases", music_of_echo_late),
    Sabotage("a space that isn't silent", "echo", ECHO, r"only 3\d\.\d dB quieter", echo_leak),
    Sabotage("a turn swapped", "turns-bars", SILENT, "dB of the demo at", turn_swapped),
    Sabotage("a leak 35 dB down", "turns-bars", SILENT, r"turn 4 is only 3\d\.\d dB", leak),
    Sabotage("a note left out", "turns-bars", SWAP, "more or less than the demo", note_dropped),
    Sabotage(
        "rolls before the change to whom they aren't", "turns-bars", ROLLS, "of the roll", rolls_swapped
    ),
    Sabotage(
        "a bell missing", "turns-phrases", BELLS, r"-?0\.\d\d of a bell", bell_missing("turns-phrases", 0)
    ),
    Sabotage("a bell missing in an echo", "echo", BELLS, "of a bell", bell_missing("echo", 2)),
    Sabotage("a bell missing in a build-up", "build-up", BELLS, "of a bell", bell_missing("build-up", 1)),
    Sabotage("pulses half a decibel softer", "echo", CUES, "of it is heard", up(-0.5)),
    Sabotage("a knock late", "demo", COUNT, "demo: knocks", knock_late),
    Sabotage("a click at a joint", "loop", LOOP, "times the slope", joint_clicks),
    Sabotage(
        "a round a frame longer",
        "loop",
        LOOP,
        "rounds of",
        lambda kit, s: held_back(s, at(kit, "loop", 2)[0]),
    ),
    Sabotage("rounds of a build-up swapped", "build-up", BUILD_UP, r"round 1 \(strums\)", round_swapped),
    Sabotage("flat softer", "contrast", FLAT, "contrast: flat", flat_softer),
    Sabotage("flat twice", "contrast", FLAT, "contrast: front and back", contrast_swapped),
    Sabotage("a rung too fast", "ladder", LADDER, "round 2", rung_of_ladder),
    Sabotage("a rung skipped", "ladder", LADDER, "round 2", rounds_of_ladder_swapped),
    Sabotage("slow isn't as slow", "slow", SLOW, "strokes|slow goes at", faster_by(1.03)),
    Sabotage("three times only", "learn", LEARN, "4 of 4", three_times),
    Sabotage("a stroke missing", "tune-up", TUNE_UP, "string 3 C is struck 2 times", stroke_missing),
    Sabotage("a string sharp", "tune-up", TUNE_UP, r"string 2 E is \+[23]\.", string_sharp),
    Sabotage("a layer leaks", "without-melody", SUMS, "without-melody", mixed_in("only-melody", -40.0)),
    Sabotage("a roll leaks", "turns-rolls", SUMS, "turns-rolls", mixed_in("demo", -40.0)),
    Sabotage("an open string leaks", "turns-open", SUMS, "turns-open", mixed_in("demo", -40.0)),
    Sabotage("one track louder", "turns-string-2", SUMS, "turns-string", up(0.3)),
    Sabotage("one passage track louder", "turns-phrases", AGAIN, "turns-phrases: passage 1 is 1.0", up(0.3)),
    Sabotage(
        "only the tune is the whole",
        "only-tune",
        NAMED,
        "only-tune is the demo",
        mixed_in("without-tune", 0.0),
    ),
    Sabotage("nothing in it", "only-between", NAMED, "only-between is silent", only_cues),
    Sabotage("notes of the tune left out", "only-tune", TUNE, "unheard", part_silent),
    Sabotage("too loud", "demo", GAINS, "demo reaches", up(2.5)),
    Sabotage("not as loud as told", "learn", GAINS, "told", up(-0.5)),
]


@pytest.mark.parametrize("sabotage", SABOTAGES, ids=lambda each: each.what)
def test_what_is_spoilt_is_found(sabotage: Sabotage, good: ClassKit) -> None:
    spoilt = good.spoilt(sabotage.track, lambda samples: sabotage.change(good, samples))
    with pytest.raises(AssertionError, match=sabotage.says):
        PROMISES[sabotage.breaks](spoilt)


# Other tracks, rightly told, in a track's place ---------------------------------------------------------------------


@dataclass(frozen=True)
class StandIn:
    """A track of one's own that takes a built-in one's place, and tells truly what it is."""

    what: str
    track: str
    own: str
    breaks: str
    says: str


STAND_INS = [
    StandIn(
        "every round at full speed", "ladder", "{way: loop, bars: verse@1}", LADDER, "4 rounds, 1 count-ins"
    ),
    StandIn(
        "every round nearly at full speed",
        "ladder",
        "{way: ladder, speed: 98% 99% 100%}",
        LADDER,
        "nothing is learnt slowly",
    ),
    StandIn(
        "two rounds alike but for a hair",
        "ladder",
        "{way: ladder, speed: 60% 97% 100%}",
        LADDER,
        "60% 97% 100% doesn't climb",
    ),
]


@pytest.mark.parametrize("stand_in", STAND_INS, ids=lambda each: each.what)
def test_what_takes_a_track_s_place_is_found(stand_in: StandIn, good: ClassKit, tmp_path: Path) -> None:
    path = tmp_path / good.song_path.name
    own = f"tracks:\n  mine: {stand_in.own}\nsections:"
    path.write_text(good.song_path.read_text("utf-8").replace("sections:", own), "utf-8")
    run_tercet("kit", path, "-o", tmp_path, "--tracks", "demo,mine", "--jobs", 1, player=PLAYER)
    made = ClassKit(tmp_path / path.stem, path, good.sounds)
    other = ClassKit(
        good.folder, good.song_path, good.sounds, changed={stand_in.track: made.track("mine")}, base=good
    )
    other.claims = {**good.claims, stand_in.track: made.claims["mine"]}
    with pytest.raises(AssertionError, match=stand_in.says):
        PROMISES[stand_in.breaks](other)


def test_every_promise_can_be_broken() -> None:
    assert {sabotage.breaks for sabotage in SABOTAGES} == set(PROMISES)


def test_an_echo_of_one_phrase_is_as_long_to_the_frame(good: ClassKit) -> None:
    bars = {bar.number: bar for bar in good.claims["demo"].bars}
    spaces = echo_spaces(good)
    assert len(spaces) == 3
    assert spaces[0] == pytest.approx((bars[5].start_s - bars[0].start_s) * RATE_HZ, abs=RATE_HZ * 0.5)


def test_silence_is_far_below_what_is_asked(good: ClassKit) -> None:
    assert min(quiet_by_db(good, "turns-bars", "turns-bars-swap")) >= 55.0
