"""Kits to be measured: made by the real command or through the library, by the sampler or another named player."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache, cached_property
from pathlib import Path

import numpy as np

from tercet.arranging import arrange, song_tuning
from tercet.performing import Take, lay_out
from tercet.performing.midi import midi_bytes
from tercet.song import LAYERS, read_song
from tercet.sound import SAMPLE_RATE_HZ, Stems
from tercet.sound.encoding import Bits, TrackWriter, track_format
from tercet.sound.loudness import integrated_loudness_lufs, true_peak_dbtp
from tercet.sound.players import player_of
from tercet.sound.soundfont_choice import choose_sound
from tercet.sound.tags import Tags
from tercet.sound.ukulele import ready_built_in
from tercet.tracks.balance import Balance
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.playing import Playing
from tercet.tracks.recipes import Recipe, recipe_named, recipes_of, track_title
from tercet.tracks.recording import Recording
from tercet.tracks.timelines import Passage, Source, TrackTimeline
from tercet.tracks.track_files import gains_of
from tests.measure.audio import Track, read_track
from tests.measure.midi import MidiFile, read_with_mido, read_with_pretty_midi
from tests.measure.song_text import SongText, read_song_text

__all__ = [
    "FONT",
    "HARBOUR_LANTERNS",
    "LAYER_TRACKS",
    "PLAYERS",
    "ROOT",
    "SHORT_SONG",
    "SONG_ONCE",
    "Kit",
    "Workshop",
    "harbour_kit",
    "mixed_class",
    "run_tercet",
    "short_kit",
    "short_workshop",
    "workshop",
]

ROOT = Path(__file__).resolve().parent.parent
HARBOUR_LANTERNS = ROOT / "songs" / "harbour-lanterns.yaml"

SHORT_SONG = """\
title: Kettle and Cup
composer: Tercet example songs
licence: CC0-1.0
key: A minor
meter: 3/4
tempo: 132
strum: d . d . d u
dynamics: {melody: f, between: mp, strums: p}
form: verse*2
sections:
  verse: |
    chords       | Am        | C      | F         | E7       |
    melody   E4  | A4 C5 A4  | G4:3   | A4 F A    | G#4:2 B  |
    words    The | ket-tle is | on,    | the blue cup's | here, is |

    chords    Am            | Dm    | G7     | C      |
    melody    C5 B4 A       | D5:3  | B4:2 G | C5:2 . |
    melody 2                |       | B4:2 A | C5:3   |
    words     pour and wait | long  | for the | tea.  |
    marks 2                 | rit@1 |         | fermata@1 |
"""

SONG_ONCE = "".join(line for line in SHORT_SONG.splitlines(True) if " 2 " not in line).replace("*2", "")
"""The short song without its repeat: eleven seconds."""


def _packaged_font() -> Path:
    spec = importlib.util.find_spec("pretty_midi")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "TimGM6mb.sf2"


FONT = _packaged_font()
PLAYERS: dict[str, str] = {"sampler": "built-in", "FluidSynth": str(FONT)}
"""Both players, and what `--sound` takes for each; of `FONT` its nylon guitar plays, for it has no ukulele."""


def run_tercet(*arguments: object, hash_seed: int = 0, player: str = "sampler") -> str:
    """Run the command in a process of its own, with one of `PLAYERS`, and return what it prints.

    A kit is made in that process, unless ``--jobs`` is asked for.
    """
    if arguments[0] == "kit" and not {"--jobs", "--cluster", "--list"}.intersection(arguments):
        arguments = (*arguments, "--jobs", 1)
    environment = {**os.environ, "PYTHONHASHSEED": str(hash_seed), "TERCET_SOUND": PLAYERS[player]}
    command = [sys.executable, "-m", "tercet", *map(str, arguments)]
    ran = subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


@dataclass(frozen=True)
class Kit:
    """The files of a kit, read when they are asked for, its song, and who of `PLAYERS` plays."""

    folder: Path
    song_path: Path
    player: str = "sampler"

    @property
    def sound(self) -> tuple[Path, int, int]:
        """A font with bank and program whose keys sound as the kit's do, to be played alone by another program."""
        return (ready_built_in(), 8, 24) if self.player == "sampler" else (FONT, 0, 24)

    @cached_property
    def song(self) -> SongText:
        return read_song_text(self.song_path)

    @cached_property
    def midi_path(self) -> Path:
        (path,) = self.folder.glob("*.mid")
        return path

    @cached_property
    def midi(self) -> MidiFile:
        return read_with_mido(self.midi_path)

    @cached_property
    def midi_witnesses(self) -> tuple[MidiFile, MidiFile]:
        """The MIDI file as two libraries read it."""
        return self.midi, read_with_pretty_midi(self.midi_path)

    @cached_property
    def track_paths(self) -> dict[str, Path]:
        """WAV tracks by name: ``demo``, ``without-melody``, …"""
        return {path.stem[3:]: path for path in sorted(self.folder.glob("*.wav"))}

    @cached_property
    def tracks(self) -> dict[str, Track]:
        return {name: read_track(path) for name, path in self.track_paths.items()}

    @cached_property
    def alone(self) -> dict[str, Track]:
        """The layers alone, by name."""
        return {
            layer: self.tracks[f"only-{layer}"] for layer in LAYERS if f"only-{layer}" in self.track_paths
        }

    @property
    def first_bar_s(self) -> float:
        """When the count-in, and the pick-up with it, is over."""
        return float(self.song.bar_beat) * self.song.beat_s


LAYER_TRACKS = (
    "demo",
    "without-melody",
    "without-between",
    "without-strums",
    "only-melody",
    "only-between",
    "only-strums",
)
"""Tracks of whole layers, which can be added up, in class order."""


@cache
def harbour_kit(base: Path) -> Kit:
    """Make the layers of a real song by the real command, once a process, below a folder."""
    run_tercet("kit", HARBOUR_LANTERNS, "-o", base, "--tracks", ",".join(LAYER_TRACKS))
    return Kit(base / "harbour-lanterns", HARBOUR_LANTERNS)


@cache
def mixed_class(base: Path) -> dict[str, Kit]:
    """Make sets of the short song for a mixed class by the real command, once a process, below a folder; by name.

    A font plays: strokes are heard by their treble, which low strings of the built-in ukulele lack in the back.
    """
    path = base / "mixed-class.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    run_tercet(
        "kit",
        path,
        "-o",
        base,
        "--tuning",
        "low-g,high-g,baritone",
        "--players",
        "beginner,improving",
        "--tracks",
        ",".join(LAYER_TRACKS),
        player="FluidSynth",
    )
    return {
        folder.name: Kit(folder, path, "FluidSynth")
        for folder in sorted((base / "mixed-class").iterdir())
        if folder.is_dir()
    }


@dataclass(frozen=True)
class Workshop:
    """A song opened up, so that a take or its stems can be changed before files are made of them.

    Its stems are played in one go, not from clips, and mixed here: files of changed and of true stems can be told
    apart by the change alone.
    """

    song_path: Path
    playing: Playing
    flat: bool = False
    player: str = "sampler"

    @property
    def source(self) -> Source:
        return Source(flat=self.flat)

    @cached_property
    def take(self) -> Take:
        return self.playing.take(lay_out(self.playing.arrangement), self.source)

    @cached_property
    def balance(self) -> Balance:
        with tempfile.TemporaryDirectory() as folder:
            passages = [Passage(self.source, Fraction(0), Fraction(1))]
            timelines = [TrackTimeline(tuple(passages))]
            return Recording(self.playing, timelines, BatchCache(Path(folder))).balance()

    @cached_property
    def stems(self) -> Stems:
        return self.stems_of(self.take)

    @cached_property
    def _heard(self) -> Balance:
        """The balance with the loudness and the peak that the layered stems have when they are played in one go."""
        layered = self.stems if not self.flat else replace(self, flat=False).stems
        demo = np.asarray(
            sum(layered.by_name[layer] for layer in self.playing.arrangement.song.layers), np.float32
        )
        return replace(
            self.balance,
            demo_lufs=integrated_loudness_lufs(demo, SAMPLE_RATE_HZ),
            demo_peak_dbtp=true_peak_dbtp(demo),
        )

    def stems_of(self, take: Take) -> Stems:
        """Return the stems of any take under the balance of the song."""
        stems = self.playing.stems_of(take, self.source)
        gains_db = self.balance.trims_db["song", self.flat]
        flat_db = self.balance.flat_gain_db if self.flat else 0.0
        by_name = dict(stems.by_name)
        for layer in self.playing.arrangement.song.layers:
            gain_db = gains_db[layer]
            by_name[layer] = by_name[layer] * np.float32(10.0 ** ((gain_db + flat_db) / 20.0))
        return Stems(stems.sample_rate_hz, by_name)

    def make(
        self,
        folder: Path,
        *,
        stems: Stems | None = None,
        take: Take | None = None,
        names: Sequence[str] | None = None,
        ending: str = ".wav",
        bits: Bits = 16,
    ) -> Kit:
        """Write tracks of whole layers and the MIDI file, from other stems or another take where they are given.

        Parameters
        ----------
        folder
            Made if it is missing; what is there is written over.
        stems, take
            What to write instead of the true ones.
        names
            The tracks to write, where not all of them are.
        ending, bits
            What to write.
        """
        folder.mkdir(parents=True, exist_ok=True)
        layers = self.playing.arrangement.song.layers
        for name in LAYER_TRACKS if names is None else names:
            self._write(folder, recipe_named(name, layers=layers), stems or self.stems, ending, bits)
        midi = folder / f"{self.song_path.stem}.mid"
        midi.unlink(missing_ok=True)
        midi.write_bytes(midi_bytes(self.playing.arrangement, take or self.take))
        return Kit(folder, self.song_path, self.player)

    def _write(self, folder: Path, recipe: Recipe, stems: Stems, ending: str, bits: Bits) -> None:
        song = self.playing.arrangement.song
        number = recipes_of(song.layers).index(recipe) + 1
        path = folder / f"{number:02}-{recipe.name}{ending}"
        path.unlink(missing_ok=True)
        ceiling_dbtp = track_format(path).encode_ceiling_dbtp
        gain = np.float32(10.0 ** (gains_of([self._heard], [ceiling_dbtp])[ceiling_dbtp] / 20.0))
        layers = [layer for layer in song.layers if layer in recipe.name or recipe.name == "demo"]
        if recipe.name.startswith("without"):
            layers = [layer for layer in song.layers if layer not in layers]
        tags = Tags(
            track_title(song.title, recipe, Fraction(1)),
            song.composer,
            song.title,
            track_number=number,
            licence=song.licence,
        )
        with TrackWriter(path, tags=tags, bits=bits) as writer:
            writer.write(sum((gain * stems.by_name[layer] for layer in layers), stems.by_name["cues"]))


@cache
def workshop(song_path: Path, *, dry: bool = False, player: str = "sampler") -> Workshop:
    """Open a song for one of `PLAYERS`, once a process."""
    song = read_song(song_path)
    arrangement = arrange(song, song_tuning(song))
    synthesiser = player_of(choose_sound(PLAYERS[player], None, None, {}).sound)
    return Workshop(song_path, Playing(arrangement, synthesiser, dry=dry), player=player)


@cache
def short_workshop(base: Path, player: str = "sampler") -> Workshop:
    """Open the short song for one of `PLAYERS`, once a process, below a folder."""
    path = base / "kettle-and-cup.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    return workshop(path, player=player)


@cache
def short_kit(base: Path, player: str = "sampler") -> Kit:
    """Make the kit of the short song through the library, once a process, below a folder."""
    return short_workshop(base, player).make(base / f"short-{player}")
