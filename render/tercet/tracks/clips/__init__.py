"""Clips: the fewest sounds that all tracks of a song are cut and mixed from, each played once."""

from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.clips.batches import Batch, ClipSlot
from tercet.tracks.clips.cutting import Clip, PassageClips
from tercet.tracks.clips.performed import Performed
from tercet.tracks.clips.plan import Sounding, TrackPlan

__all__ = ["Batch", "BatchCache", "Clip", "ClipSlot", "PassageClips", "Performed", "Sounding", "TrackPlan"]
