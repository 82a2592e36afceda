"""Pick-ups of sections that are played more than once: their time is found in the bar before, or they become a bar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from tercet.exchange.bars import BarContent, Playing
from tercet.song import Meter, Note

__all__ = ["with_pickups_in_place"]

Named = tuple[str, Playing]
"""A section's name and one playing of it."""


def with_pickups_in_place(playings: Sequence[Named], meter: Meter, remarks: list[str]) -> list[Named]:
    """Return the playings of sections with a pick-up of one length in all playings of a section.

    A pick-up written before a repeat belongs to its first pass. On the others the end of the bar before is taken for
    one, if it is rest or if notes of its own start there. Where that can't be done, the pick-up becomes a bar that
    starts with rests: one before the section where it isn't part of the repeat, else one of the section. A pick-up
    never takes the time of a rest that is written: after a full bar it is played after the bar.
    """
    placed = list(playings)
    for name in dict.fromkeys(name for name, _ in playings):
        own = [index for index, (each, _) in enumerate(placed) if each == name]
        beats = {placed[index][1].pickup_beat for index in own}
        if len(beats) > 1:
            placed = _with_one_length(placed, own, max(beats), meter, remarks)
    return _with_room(placed, meter, remarks)


def _with_one_length(
    playings: list[Named], own: Sequence[int], beat: Fraction, meter: Meter, remarks: list[str]
) -> list[Named]:
    """Return the playings with a pick-up on all passes of one section, or a bar of its own where it had one."""
    moved = list(playings)
    for index in own:
        name, playing = moved[index]
        if playing.pickup is not None:
            if not _has_room(moved, index):
                return _with_bars_of_their_own(playings, own, meter, remarks)
            continue
        before = moved[index - 1][1] if index else None
        taken = _without_end(before, beat, meter) if before is not None else (None, _rest(beat))
        if taken is None:
            return _with_bars_of_their_own(playings, own, meter, remarks)
        shortened, pickup = taken
        if shortened is not None:
            moved[index - 1] = (moved[index - 1][0], shortened)
        moved[index] = (name, replace(playing, pickup=pickup, pickup_beat=beat))
    return moved


def _rest(beat: Fraction) -> BarContent:
    return BarContent(None, (Note(Fraction(0), beat),), None, None)


def _without_end(playing: Playing, beat: Fraction, meter: Meter) -> tuple[Playing, BarContent] | None:
    """Return a playing with rest at its end, and what stood there; None when a note goes on over that place."""
    cut = meter.bar_beat - beat
    head, tail = playing.bars[-1].split(cut)
    if all(note.is_rest for note in tail.melody) and playing.resting_beat >= beat:
        return replace(playing, free_beat=max(playing.free_beat, beat)), _rest(beat)
    if not tail.melody or tail.melody[0].start_beat != cut or tail.melody[0].goes_on:
        return None
    chords = head.chords
    if chords:
        chords = (*chords[:-1], replace(chords[-1], length_beat=meter.bar_beat - chords[-1].start_beat))
    shortened = replace(head, chords=chords, melody=(*head.melody, Note(cut, beat)))
    return replace(playing, bars=(*playing.bars[:-1], shortened), free_beat=beat), tail.moved(-cut)


def _with_bars_of_their_own(
    playings: list[Named], own: Sequence[int], meter: Meter, remarks: list[str]
) -> list[Named]:
    later = [playings[index][0] for index in own if index and playings[index][1].pickup is not None]
    if later:
        remarks.append(f"the pick-up of {later[0]} became a bar of its own, with rests before it")
    apart: list[Named] = []
    for index, (name, playing) in enumerate(playings):
        if index not in own or playing.pickup is None:
            apart.append((name, playing))
            continue
        whole = playing.pickup_as_bar(meter)
        rest = replace(whole, bars=whole.bars[:1], free_beat=Fraction(0), ends_in_breath=False)
        apart += [
            (f"{name}-pick-up", rest),
            (name, replace(whole, bars=_starting_with_a_chord(whole.bars[0], whole.bars[1:], meter))),
        ]
    return apart


def _starting_with_a_chord(
    before: BarContent, bars: tuple[BarContent, ...], meter: Meter
) -> tuple[BarContent, ...]:
    """Return bars whose first has a chord: its own, or the one that goes on from the bar before."""
    if bars[0].chords is not None or not before.chords:
        return bars
    held = replace(before.chords[-1], start_beat=Fraction(0), length_beat=meter.bar_beat)
    return (replace(bars[0], chords=(held,)), *bars[1:])


def _has_room(playings: Sequence[Named], index: int) -> bool:
    return index == 0 or playings[index - 1][1].free_beat >= playings[index][1].pickup_beat


def _with_room(playings: Sequence[Named], meter: Meter, remarks: list[str]) -> list[Named]:
    """Return the playings, pick-ups that find no room in the bar before them turned into whole bars."""
    tight = {name for index, (name, _) in enumerate(playings) if not _has_room(playings, index)}
    if tight:
        shown = ", ".join(sorted(tight))
        remarks.append(
            f"the bar before the pick-up of {shown} has no room for it when it is played again, so the pick-up "
            "became a whole bar with rests before it"
        )
    return [(name, playing.pickup_as_bar(meter) if name in tight else playing) for name, playing in playings]
