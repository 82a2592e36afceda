"""From the timelines of several tracks to the fewest sounds that tell them apart, each to be made once.

A passage hears some notes of a playing. A note that rings past the passage's end is damped there, with the strings that
ring along with it, unless the music goes on and is heard as before; after the last passage it rings out. So one note
can be needed with more than one end; a note with its end is a *voice*.

Within a phrase, voices that are heard in the same passages of all tracks can't be told apart, and are made into sound
together: a *clip*. A track is then a list of clips, each at its frame; sounds are linear, so they add up to what
would have been played in one go.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from tercet.song import Layer
from tercet.sound import SAMPLE_RATE_HZ
from tercet.tracks.clips.performed import Performed
from tercet.tracks.timelines import Passage, Source, TrackTimeline

__all__ = ["NATURAL", "Clip", "PassageClips", "Voice", "clips_of", "voices_of"]

NATURAL = -1
"""A voice's end: where the player damps it in the whole piece."""

TOLERANCE_FRAMES = SAMPLE_RATE_HZ // 1000
"""A note that ends this near a passage's end ends with it."""


class Voice(NamedTuple):
    """A note and its end.

    Parameters
    ----------
    number
        Which note of its playing, from 0.
    end_frame
        Where it is damped, from the piece's beginning; `NATURAL` for where it is damped in the whole piece.
    rings_out
        Whether it isn't damped at `end_frame` but rings out from there.
    """

    number: int
    end_frame: int
    rings_out: bool


@dataclass(frozen=True, slots=True)
class Clip:
    """Voices of one layer and one phrase that always sound together.

    Parameters
    ----------
    source
        Of which playing.
    part
        Which phrase of it.
    layer
        Whose notes.
    voices
        In the order of their notes.
    """

    source: Source
    part: int
    layer: Layer
    voices: tuple[Voice, ...]


@dataclass(frozen=True, slots=True)
class PassageClips:
    """What a passage makes heard: clips as they are marked, and others as a soft guide."""

    plain: tuple[Clip, ...]
    soft: tuple[Clip, ...]


def voices_of(
    performed: Performed, passage: Passage, following: Passage | None
) -> tuple[list[Voice], list[Voice]]:
    """Return the voices of a passage: those that are heard, and those of the guide.

    Parameters
    ----------
    performed
        The playing of its source.
    passage
        Which beats, and what is heard of them.
    following
        The passage after it, None for the last of a track.
    """
    end_frame = performed.frame(passage.end_beat)
    goes_on = (
        following is not None
        and following.source == passage.source
        and following.start_beat == passage.end_beat
        and not following.count_in_bars
        and (following.heard, following.guide) == (passage.heard, passage.guide)
    )
    heard, guide = performed.picked(passage.heard), performed.picked(passage.guide)
    found: tuple[list[Voice], list[Voice]] = ([], [])
    for index in performed.between(passage.start_beat, passage.end_beat):
        place = 0 if index in heard else 1 if index in guide else None
        if place is None:
            continue
        note_end = performed.notes[index].end_frame
        voice = Voice(index, NATURAL, False)
        if following is None and note_end >= end_frame - TOLERANCE_FRAMES:
            voice = Voice(index, end_frame, True)
        elif (
            following is not None
            and not goes_on
            and performed.notes[index].still_frame > end_frame + TOLERANCE_FRAMES
        ):
            voice = Voice(index, end_frame, False)
        found[place].append(voice)
    return found


def clips_of(
    timelines: Sequence[TrackTimeline], performed: Callable[[Source], Performed]
) -> tuple[tuple[PassageClips, ...], ...]:
    """Return for each passage of each track what it makes heard, out of as few clips as can be.

    Parameters
    ----------
    timelines
        Of all tracks that are made together.
    performed
        Gives the playing of a source.
    """
    roles = list(_roles(timelines, performed))
    users: dict[Source, dict[Voice, list[int]]] = defaultdict(lambda: defaultdict(list))
    for number, (source, voices) in enumerate(roles):
        for voice in voices:
            users[source][voice].append(number)
    by_role: dict[int, list[Clip]] = defaultdict(list)
    for source, voices_users in users.items():
        for numbers, clip in _grouped(source, performed(source), voices_users):
            for number in numbers:
                by_role[number].append(clip)
    numbers_left = iter(range(len(roles)))
    return tuple(
        tuple(
            PassageClips(tuple(by_role[next(numbers_left)]), tuple(by_role[next(numbers_left)]))
            for _ in timeline.passages
        )
        for timeline in timelines
    )


def _roles(
    timelines: Sequence[TrackTimeline], performed: Callable[[Source], Performed]
) -> Iterator[tuple[Source, list[Voice]]]:
    """Yield two sets of voices for each passage: heard, and guide."""
    for timeline in timelines:
        passages = timeline.passages
        for passage, following in zip(passages, [*passages[1:], None], strict=True):
            for voices in voices_of(performed(passage.source), passage, following):
                yield passage.source, voices


def _grouped(
    source: Source, performed: Performed, users: Mapping[Voice, list[int]]
) -> Iterator[tuple[tuple[int, ...], Clip]]:
    """Yield clips, each with the roles that use it, in order of their first notes."""
    groups: dict[tuple[int, Layer, tuple[int, ...]], list[Voice]] = {}
    for voice in sorted(users):
        index = voice.number
        key = (performed.part_of(index), performed.notes[index].note.layer, tuple(users[voice]))
        groups.setdefault(key, []).append(voice)
    for (part, layer, numbers), voices in groups.items():
        yield numbers, Clip(source, part, layer, tuple(voices))
