"""A track laid out in frames: when each passage begins, which clips sound when, and where the cues fall."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from tercet.performing.timeline import lead_beats
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.schedule import RING_OUT_S
from tercet.tracks.clips.batches import ClipSlot
from tercet.tracks.clips.cutting import Clip, PassageClips
from tercet.tracks.clips.performed import Performed
from tercet.tracks.cues import Cue, count_in_cues, count_in_frames, passage_cues
from tercet.tracks.timelines import Passage, Source, TrackTimeline

__all__ = ["PlacedPassage", "Sounding", "TrackPlan", "placed_passages", "plan_of"]


@dataclass(frozen=True, slots=True)
class PlacedPassage:
    """A passage in its track: where its count-in, its music and the end of its music fall, in frames."""

    passage: Passage
    count_frame: int
    start_frame: int
    end_frame: int

    def zero_frame(self, performed: Performed) -> int:
        """Return the frame of the track that the first beat of its piece would fall on."""
        return self.start_frame - performed.frame(self.passage.start_beat)


@dataclass(frozen=True, slots=True)
class Sounding:
    """A clip in a track: the frame where its sound begins, and whether it is a soft guide."""

    start_frame: int
    clip: Clip
    soft: bool


@dataclass(frozen=True, slots=True)
class TrackPlan:
    """A track in frames.

    Parameters
    ----------
    passages
        In order.
    soundings
        Every clip wherever it sounds, in order.
    cues
        In order.
    length_frames
        The ringing end and the room's tail included.
    """

    passages: tuple[PlacedPassage, ...]
    soundings: tuple[Sounding, ...]
    cues: tuple[Cue, ...]
    length_frames: int


def placed_passages(
    timeline: TrackTimeline, performed: Callable[[Source], Performed]
) -> tuple[PlacedPassage, ...]:
    """Return the passages one after the other; before the first is a count-in, or a short silence."""
    placed: list[PlacedPassage] = []
    now = 0
    for passage in timeline.passages:
        playing = performed(passage.source)
        counted = count_in_frames(playing, passage)
        if not placed and not counted:
            beat_s = playing.clock.beat_s / float(playing.speed)
            counted = round(float(lead_beats(beat_s)) * beat_s * SAMPLE_RATE_HZ)
        start = now + counted
        end = start + playing.frame(passage.end_beat) - playing.frame(passage.start_beat)
        placed.append(PlacedPassage(passage, now, start, end))
        now = end
    return tuple(placed)


def plan_of(
    timeline: TrackTimeline,
    heard: Sequence[PassageClips],
    performed: Callable[[Source], Performed],
    slots: Mapping[Clip, ClipSlot],
    tail_frames: int,
) -> TrackPlan:
    """Return the plan of a track.

    Parameters
    ----------
    timeline
        Its passages.
    heard
        What each makes heard, see `tercet.tracks.clips.cutting.clips_of`.
    performed
        Gives the playing of a source.
    slots
        Where each clip lies in its batch.
    tail_frames
        How long the room goes on after a sound.
    """
    passages = placed_passages(timeline, performed)
    soundings: list[Sounding] = []
    cues: list[Cue] = []
    for placed, each in zip(passages, heard, strict=True):
        playing = performed(placed.passage.source)
        zero = placed.zero_frame(playing)
        for clips, soft in ((each.plain, False), (each.soft, True)):
            soundings += [Sounding(zero + slots[clip].piece_frame, clip, soft) for clip in clips]
        cues += count_in_cues(playing, placed.passage, placed.count_frame)
        cues += passage_cues(playing, placed.passage, placed.start_frame)
    length = passages[-1].end_frame + round(RING_OUT_S * SAMPLE_RATE_HZ) + tail_frames
    soundings.sort(key=lambda sounding: sounding.start_frame)
    cues.sort(key=lambda cue: cue.frame)
    return TrackPlan(passages, tuple(soundings), tuple(cues), length)
