"""Tunes of our own making, with how they are played known from how they were put together, not from their signs.

A tune is drawn as blocks (bars once, bars repeated, bars with endings) with a jump or none; the order of playing is
written down while that is done. It is then written as MusicXML in three manners, as ABC, and played as MIDI.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from random import Random

from tests.exchange.heard import Heard, from_the_first
from tests.exchange.midi.files import midi, notes, track
from tests.exchange.musicxml.scores import harmony, start

METERS = ((4, 4), (3, 4), (2, 4), (6, 8), (9, 8), (2, 2), (5, 4))
MANNERS = ("signs", "words", "both")
UNITS = 12
"""Divisions of a quarter: for triplets and sixteenths."""

_KEYS = (60, 62, 64, 65, 67, 69, 71, 72, 74, 76)
_STEPS = {0: "C", 2: "D", 4: "E", 5: "F", 7: "G", 9: "A", 11: "B"}
_FIGURES = {
    Fraction(1): ((1,), (Fraction(1, 2),) * 2, (Fraction(3, 4), Fraction(1, 4)), (Fraction(1, 4),) * 4,
                  (Fraction(1, 3),) * 3, (Fraction(2, 3), Fraction(1, 3))),
    Fraction(3, 2): ((Fraction(3, 2),), (Fraction(1, 2),) * 3, (Fraction(1), Fraction(1, 2)),
                     (Fraction(3, 4), Fraction(1, 4), Fraction(1, 2))),
}  # fmt: skip
"""How a beat is filled."""


@dataclass(frozen=True)
class MadeNote:
    """A note or, without a key, a rest; a tie goes on into the next."""

    key: int | None
    quarters: Fraction
    tied: bool = False


@dataclass
class MadeBar:
    """A written bar, its signs, and how many verses sing in it."""

    notes: tuple[MadeNote, ...]
    verses: int = 1
    starts: bool = False
    times: int = 0
    endings: tuple[int, ...] = ()
    signs: set[str] = field(default_factory=set)

    @property
    def quarters(self) -> Fraction:
        return sum((note.quarters for note in self.notes), Fraction(0))


@dataclass(frozen=True)
class MadeTune:
    """Bars as written and the order, by their places, in which they are played."""

    meter: tuple[int, int]
    bars: tuple[MadeBar, ...]
    order: tuple[int, ...]

    @property
    def played(self) -> list[Heard]:
        """What is heard: keys, onsets and lengths in quarters, ties joined."""
        now, heard, tied = Fraction(0), list[Heard](), False
        for place in self.order:
            for note in self.bars[place].notes:
                if note.key is not None and tied:
                    heard[-1] = (heard[-1][0], heard[-1][1], heard[-1][2] + note.quarters)
                elif note.key is not None:
                    heard.append((note.key, now, note.quarters))
                tied = note.tied
                now += note.quarters
        return from_the_first(heard)


class _Maker:
    def __init__(self, random: Random) -> None:
        self.random = random
        self.meter = random.choice(METERS)
        upper, lower = self.meter
        self.beat = Fraction(3, 2) if lower == 8 else Fraction(1)
        self.bar_quarters = Fraction(4 * upper, lower)
        self.bars: list[MadeBar] = []
        self.order: list[int] = []
        self.again: list[int] = []
        """The order after a jump: every repeat once, the last ending."""

    def bar(self, quarters: Fraction | None = None) -> int:
        """Write a bar; return its place."""
        left = quarters or self.bar_quarters
        made: list[MadeNote] = []
        while left:
            beat = min(self.beat, left)
            for length in self.random.choice(_FIGURES.get(beat, ((beat,),))):
                rests = self.random.random() < 0.1 and bool(made)
                made.append(MadeNote(None if rests else self.random.choice(_KEYS), Fraction(length)))
            left -= beat
        if len(made) > 1 and self.random.random() < 0.3 and made[-2].key is not None:
            made[-2:] = [replace(made[-2], tied=True), replace(made[-1], key=made[-2].key)]
        self.bars.append(MadeBar(tuple(made)))
        return len(self.bars) - 1

    def some(self, most: int = 3) -> list[int]:
        return [self.bar() for _ in range(self.random.randint(1, most))]

    def block(self) -> None:
        """Write a block of bars, and down how it is played."""
        kind = self.random.choice(("once", "repeated", "endings"))
        body = self.some()
        if kind != "once" and (body[0] or self.random.random() < 0.5):
            self.bars[body[0]].starts = True
        if kind == "once":
            self._play([body], body)
        elif kind == "repeated":
            times = self.random.choice((2, 2, 2, 3))
            self.bars[body[-1]].times = times
            self._play([body] * times, body)
        else:
            self._with_endings(body)

    def _with_endings(self, body: list[int]) -> None:
        passes = self.random.choice(
            (((1,), (2,)), ((1,), (2,)), ((1, 2), (3,)), ((1,), (3,)), ((1,), (2,), (3,)))
        )
        rounds: list[list[int]] = []
        for place, numbers in enumerate(passes):
            ending = self.some(2)
            for index in ending:
                self.bars[index].endings = numbers
            if place + 1 < len(passes):
                self.bars[ending[-1]].times = 2
            rounds += [body + ending] * len(numbers)
        self._play(rounds, rounds[-1])
        self.bars[self.order[-1]].signs.add("ends")

    def _play(self, rounds: list[list[int]], once: list[int]) -> None:
        self.order += [place for each in rounds for place in each]
        self.again += once
        for index in {place for each in rounds for place in each}:
            self.bars[index].verses = self.random.choice((1, len(rounds))) if len(rounds) < 3 else 1


def chance(seed: int) -> Random:
    """Return what draws from a seed, always the same."""
    return Random(seed)  # noqa: S311 - tunes, not secrets


def made_tune(random: Random) -> MadeTune:
    """Return a tune of up to some twenty bars."""
    maker = _Maker(random)
    if random.random() < 0.3:
        maker.bar(maker.beat)
        maker.order.append(0)
        maker.again.append(0)
    jump = random.choice(("", "", "da capo", "dal segno", "da capo al coda", "dal segno al coda"))
    for _ in range(random.randint(1, 3)):
        maker.block()
    if not jump:
        return MadeTune(maker.meter, tuple(maker.bars), tuple(maker.order))
    return _with_jump(maker, jump)


def _with_jump(maker: _Maker, jump: str) -> MadeTune:
    """Add bars that are left by a jump, and for some jumps a coda."""
    full = [bar for bar in maker.again if maker.bars[bar].quarters == maker.bar_quarters]
    if not any(maker.bars[bar].endings or maker.bars[bar].times or maker.bars[bar].starts for bar in full):
        segno = maker.random.choice(full)
    else:
        segno = next((bar for bar in full if bar == 0), full[0])
    target = segno if jump.startswith("dal") else 0
    left = maker.again[-1]
    maker.bars[segno].signs |= {"segno"} if jump.startswith("dal") else set()
    maker.bars[left].signs.add("to" if jump.endswith("coda") else "fine")
    tail = maker.some()
    if target == 0 and maker.bars[0].quarters < maker.bar_quarters and maker.random.random() < 0.9:
        tail.append(
            maker.bar(maker.bar_quarters - maker.beat)
        )  # as books have it: the pick-up fills this bar
    maker.order += tail
    maker.bars[tail[-1]].signs.add("dal segno" if jump.startswith("dal") else "da capo")
    maker.order += [bar for bar in maker.again if bar >= target]
    if jump.endswith("coda"):
        coda = len(maker.bars)
        maker.block()
        maker.bars[coda].signs.add("coda")
    return MadeTune(maker.meter, tuple(maker.bars), tuple(maker.order))


# ---- as MusicXML


def as_musicxml(tune: MadeTune, manner: str, random: Random) -> bytes:
    """Write a tune as a score, with what isn't the tune: graces, notes below it, a second part, a second voice."""
    measures = [_measure(tune, place, manner, random) for place in range(len(tune.bars))]
    other = [
        f"<measure number='{number}'>{start(UNITS, 0, *tune.meter) if number == 1 else ''}"
        f"<note><rest/><duration>{int(bar.quarters * UNITS)}</duration><voice>1</voice></note></measure>"
        for number, bar in enumerate(tune.bars, 1)
    ]
    body = "".join(f"<measure number='{number}'>{text}</measure>" for number, text in enumerate(measures, 1))
    names = "".join(f"<score-part id='P{n}'><part-name>Part {n}</part-name></score-part>" for n in (1, 2))
    return (
        f"<score-partwise version='4.0'><movement-title>Made</movement-title><part-list>{names}</part-list>"
        f"<part id='P1'>{body}</part><part id='P2'>{''.join(other)}</part></score-partwise>"
    ).encode()


def _measure(tune: MadeTune, place: int, manner: str, random: Random) -> str:
    bar = tune.bars[place]
    before = tune.bars[place - 1] if place else None
    text = start(UNITS, 0, *tune.meter) if not place else ""
    opens = bool(bar.endings) and (before is None or before.endings != bar.endings)
    following = tune.bars[place + 1] if place + 1 < len(tune.bars) else None
    closes = bool(bar.endings) and (following is None or following.endings != bar.endings)
    if opens:
        text += f'<barline location="left"><ending number="{_numbers(bar)}" type="start"/></barline>'
    if bar.starts:
        text += '<barline location="left"><repeat direction="forward"/></barline>'
    text += _words_before(bar, manner)
    if random.random() < 0.3:
        text += harmony("C", random.choice(("major", "")))
    text += "".join(_note(note, bar, place, index, random) for index, note in enumerate(bar.notes))
    if random.random() < 0.2:
        units = int(bar.quarters * UNITS)
        text += f"<backup><duration>{units}</duration></backup>{_plain(48, units, voice=2)}"
    text += _words_after(bar, manner)
    right = ""
    if closes and not (manner == "words" and bar.times):
        kind = "stop" if bar.times else "discontinue"
        right += f'<ending number="{_numbers(bar)}" type="{kind}"/>'
    if bar.times:
        times = f' times="{bar.times}"' if bar.times > 2 else ""
        right += f'<repeat direction="backward"{times}/>'
    return text + (f'<barline location="right">{right}</barline>' if right else "")


def _numbers(bar: MadeBar) -> str:
    return ", ".join(map(str, bar.endings))


def _direction(inside: str, sound: str = "") -> str:
    return f"<direction><direction-type>{inside}</direction-type>{f'<sound {sound}/>' if sound else ''}</direction>"


def _words_before(bar: MadeBar, manner: str) -> str:
    text = ""
    if "segno" in bar.signs:
        text += _direction("<segno/>", 'segno="segno"' if manner == "both" else "")
    if "coda" in bar.signs:
        text += _direction("<words>Coda</words>" if manner == "words" else "<coda/>")
    return text


def _words_after(bar: MadeBar, manner: str) -> str:
    sounds = manner == "both"
    said = {
        "to": ("<coda/>" if manner == "signs" else "<words>To Coda</words>", 'tocoda="coda"'),
        "fine": ("<words>Fine</words>", 'fine="yes"'),
        "da capo": (f"<words>{'D.C.' if manner == 'signs' else 'Da Capo al Fine'}</words>", 'dacapo="yes"'),
        "dal segno": (
            f"<words>{'D.S. al Coda' if manner == 'signs' else 'Dal Segno'}</words>",
            'dalsegno="1"',
        ),
    }
    return "".join(
        _direction(inside, sound if sounds else "")
        for sign, (inside, sound) in said.items()
        if sign in bar.signs
    )


def _note(note: MadeNote, bar: MadeBar, place: int, index: int, random: Random) -> str:
    units = int(note.quarters * UNITS)
    if note.key is None:
        return f"<note><rest/><duration>{units}</duration><voice>1</voice></note>"
    held = index > 0 and bar.notes[index - 1].tied
    ties = ("<tie type='stop'/>" if held else "") + ("<tie type='start'/>" if note.tied else "")
    lyric = "".join(
        f'<lyric number="{verse}"><syllabic>single</syllabic><text>{_syllable(place, index, verse)}</text></lyric>'
        for verse in range(1, bar.verses + 1)
    )
    grace = ""
    if random.random() < 0.1 and not held:
        grace = _plain(77, None)
    below = ""
    if random.random() < 0.15 and not note.tied and not held:
        below = _plain(note.key - 12, units).replace("<note>", "<note><chord/>")
    return grace + _plain(note.key, units, ties, "" if held else lyric) + below


def _syllable(place: int, index: int, verse: int) -> str:
    return f"{'abcdefghijklmnopqrstuvwxyz'[place % 26]}{'aeiou'[index % 5]}{verse}"


def _plain(key: int, units: int | None, ties: str = "", tail: str = "", voice: int = 1) -> str:
    step, octave = _STEPS[key % 12], key // 12 - 1
    length = f"<duration>{units}</duration>" if units is not None else ""
    grace = "<grace/>" if units is None else ""
    pitch = f"<pitch><step>{step}</step><octave>{octave}</octave></pitch>"
    return f"<note>{grace}{pitch}{length}{ties}<voice>{voice}</voice>{tail}</note>"


# ---- as ABC, and played


def as_abc(tune: MadeTune) -> str:
    """Write a tune in ABC; its jumps as decorations, three times as two dots."""
    music = ""
    before: MadeBar | None = None
    for bar in tune.bars:
        line = ""
        if before is not None:
            line = ":" * (before.times - 1) + "|" if before.times else "||" if "ends" in before.signs else "|"
        music += line + (":" if bar.starts and line else "|:" if bar.starts else "")
        if bar.endings and (before is None or before.endings != bar.endings):
            music += f"[{','.join(map(str, bar.endings))} "
        music += "!segno!" * ("segno" in bar.signs) + "!coda!" * ("coda" in bar.signs)
        music += _abc_notes(bar)
        music += "".join(f"!{name}!" for sign, name in _ABC_SIGNS.items() if sign in bar.signs)
        before = bar
    assert before is not None
    music += ":" * (before.times - 1) + "|" if before.times else "|]"
    return f"X:1\nT:Made\nM:{tune.meter[0]}/{tune.meter[1]}\nL:1/4\nK:C\n{music}\n"


_ABC_SIGNS = {"to": "dacoda", "fine": "fine", "da capo": "D.C.", "dal segno": "D.S."}


def _abc_notes(bar: MadeBar) -> str:
    text = ""
    left = 0
    for index, note in enumerate(bar.notes):
        length = note.quarters
        if length.denominator % 3 == 0:
            if not left:
                left = sum(1 for each in bar.notes[index:][:3] if each.quarters.denominator % 3 == 0)
                left = 2 if note.quarters == Fraction(2, 3) else left
                text += f"(3:2:{left}"
            left -= 1
            length *= Fraction(3, 2)
        text += f"{_abc_name(note.key)}{length}{'-' if note.tied else ''} "
    return text


def _abc_name(key: int | None) -> str:
    if key is None:
        return "z"
    letter = _STEPS[key % 12]
    return letter if key < 72 else letter.lower()


def as_midi(tune: MadeTune, random: Random) -> bytes:
    """Play a tune, hardly freely."""
    played = [
        (key, float(onset) + random.uniform(0, 0.015), float(onset + length) - random.uniform(0.01, 0.03))
        for key, onset, length in tune.played
    ]
    return midi(track("Melody", *notes(*played)))
