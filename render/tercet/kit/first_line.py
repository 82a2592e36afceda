"""The first phrase of a song as a short recording: in the list of a class's songs it says which one this is."""

from __future__ import annotations

from pathlib import Path

from tercet.sound import Audio
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.in_memory import mix_and_gain
from tercet.tracks.kept_balance import kept_balance
from tercet.tracks.playing import Playing
from tercet.tracks.recording import Recording
from tercet.tracks.timelines import Passage, Source, TrackTimeline, phrase_ranges

__all__ = ["first_line"]


def first_line(playing: Playing, work: Path) -> bytes:
    """Return the first phrase as the demo has it, as an MP3; `work` is a folder for what is needed meanwhile."""
    phrase = phrase_ranges(playing.arrangement)[0]
    timeline = TrackTimeline((Passage(Source(), phrase.start_beat, phrase.end_beat),))
    recording = Recording(playing, [timeline], BatchCache(work), variants=())
    balance = kept_balance(playing, recording.needed_variants, work)
    return Audio(mix_and_gain(recording, balance)[0]).write(work / "first-line.mp3").read_bytes()
