"""Track recipes: what a track is made of, what it is called, and what a student does with it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.arranging.second import WRITE_SECOND
from tercet.errors import RequestError
from tercet.song import LAYERS, SECOND, Layer, OwnTrack, Turn
from tercet.song.choice_words import parse_choice
from tercet.song.note_choice import Choice, Either, Numbered, Unless, Word
from tercet.song.own_tracks import refuse_names
from tercet.song.practice_forms import PRACTICE_FORMS, USUAL_TIMES
from tercet.tracks.timelines import ALL, NOTHING, Piece
from tercet.wording import did_you_mean, listed, lookalikes

__all__ = [
    "RECIPES",
    "SECOND_RECIPES",
    "Recipe",
    "choose_layers",
    "file_stem",
    "own_recipes",
    "recipe_named",
    "recipes_of",
    "slug",
    "speed_name",
    "track_title",
]


@dataclass(frozen=True, slots=True)
class Recipe:
    """What a track is made of.

    Parameters
    ----------
    name
        As in `--track` and in file names.
    purpose
        What a student does with it, in one sentence.
    way
        How it goes through the music, see `tercet.song.practice_forms`.
    piece, flat
        What is played, and whether without front and back.
    heard
        The notes that are heard where the recording plays.
    guide
        Of those left out, the notes that are heard softly.
    space
        The notes that are heard while it is the student's turn.
    by
        What is echoed or taken in turns.
    swap
        Whether the student begins.
    speeds
        Its own: one, or those of a ladder; 1 is the song's tempo. Empty where it goes as fast as a kit asks for; a
        track with speeds of its own is made once, whatever speeds are asked for.
    times
        How often a loop goes round, or hard bars are played.
    bars
        Which bars, as in `--bars`; all of them where it is empty.
    """

    name: str
    purpose: str
    way: str = "through"
    piece: Piece = "song"
    flat: bool = False
    heard: Choice = ALL
    guide: Choice = NOTHING
    space: Choice = NOTHING
    by: Turn = "phrase"
    swap: bool = False
    speeds: tuple[Fraction, ...] = ()
    times: int = USUAL_TIMES
    bars: str = ""

    @property
    def steps(self) -> tuple[Fraction, ...]:
        """The speeds that it goes at where nothing else is asked for."""
        return self.speeds or (Fraction(1),)


def _without(layer: Layer, purpose: str) -> Recipe:
    return Recipe(f"without-{layer}", purpose, heard=Unless(Word(layer)))


def _only(layer: Layer, purpose: str) -> Recipe:
    return Recipe(f"only-{layer}", purpose, heard=Word(layer))


def _yours(name: str, yours: Choice, purpose: str) -> Recipe:
    return Recipe(name, purpose, heard=Unless(yours))


RECIPES: tuple[Recipe, ...] = (
    Recipe(
        "tune-up",
        "tune your strings: each one three times, from the fourth to the first",
        piece="tune-up",
        speeds=(Fraction(1),),
    ),
    Recipe("demo", "listen: all three layers, as the song should sound"),
    Recipe(
        "chords", "strum along: just the chords, or follow their shapes with the left hand", piece="chords"
    ),
    Recipe(
        "build-up", "hear how it is made: strums, then the notes in between, then the melody", way="build-up"
    ),
    Recipe("echo", "listen to a phrase, then play it in the space that follows", way="echo"),
    Recipe("slow", "play along at an easy tempo", speeds=(Fraction(7, 10),)),
    Recipe(
        "learn",
        "practise the hardest bars, slowly, four times each",
        way="learn",
        speeds=PRACTICE_FORMS["learn"].speeds,
    ),
    Recipe(
        "loop", "go round and round the first section, or bars you choose, until they come easily", way="loop"
    ),
    Recipe(
        "ladder",
        "each section from slow to full speed, step by step",
        way="ladder",
        speeds=PRACTICE_FORMS["ladder"].speeds,
    ),
    _without("melody", "play the melody yourself: the tune's main notes, most of them rolled"),
    Recipe(
        "without-tune",
        "play the whole tune yourself: its main notes and its other ones",
        heard=Unless(Word("tune")),
    ),
    _without(
        "between", "play the notes in between yourself: the tune's other notes, and added ones, one at a time"
    ),
    _without("strums", "fill the long spaces with quiet strums yourself"),
    _only("melody", "listen to the melody alone: the tune's main notes, most of them rolled"),
    _only(
        "between",
        "listen to the notes in between alone: the tune's other notes, and added ones, one at a time",
    ),
    _only("strums", "listen to the strums alone"),
    Recipe(
        "only-tune",
        "listen to the notes of the tune alone, without the strings under its rolls",
        heard=Word("tune"),
    ),
    _yours(
        "turns-open",
        Word("open"),
        "the open strings are yours, with the rolls that end on one; the rest is played for you",
    ),
    _yours(
        "turns-open-swap",
        Word("fretted"),
        "the fretted strings are yours, with the rolls that end on one; the rest is played for you",
    ),
    *(
        _yours(
            f"turns-string-{string}",
            Numbered("string", ((string, string),)),
            f"string {string} is yours, with the rolls that end on it; the rest is played for you",
        )
        for string in (1, 2, 3, 4)
    ),
    _yours(
        "turns-rolls", Word("roll"), "the rolls are yours, the single notes and strums are played for you"
    ),
    _yours(
        "turns-rolls-swap",
        Word("single"),
        "the single notes are yours, the rolls and strums are played for you",
    ),
    Recipe("turns-bars", "take turns bar by bar: listen to one, play the next", way="turns", by="bar"),
    Recipe("turns-bars-swap", "take turns bar by bar: you begin", way="turns", by="bar", swap=True),
    Recipe("turns-phrases", "take turns phrase by phrase: listen to one, play the next", way="turns"),
    Recipe("turns-phrases-swap", "take turns phrase by phrase: you begin", way="turns", swap=True),
    Recipe("flat", "hear the same notes without front and back", flat=True),
    Recipe("contrast", "hear each phrase flat, then with front and back", way="contrast"),
)
"""The tracks of a kit, in class order; `recipes_of` has those of a song."""


SECOND_RECIPES: tuple[Recipe, ...] = (
    _without(SECOND, "play the second voice yourself, under the tune"),
    _only(SECOND, "listen to the second voice alone, or play the song over it"),
)
"""The tracks that a song with a second voice has besides, after all others: so none of those changes its number."""

_WITH_SECOND = {
    "demo": "listen: all four layers, as the song should sound",
    "build-up": "hear how it is made: strums, then the notes in between, then the second voice, then the melody",
}
"""What a student does with a track where there is a second voice in it."""


def recipes_of(layers: Collection[Layer]) -> tuple[Recipe, ...]:
    """Return the tracks of a kit of a song with these layers, in class order."""
    if SECOND not in layers:
        return RECIPES
    told = (replace(recipe, purpose=_WITH_SECOND.get(recipe.name, recipe.purpose)) for recipe in RECIPES)
    return (*told, *SECOND_RECIPES)


def recipe_named(name: str, own: Sequence[Recipe] = (), layers: Collection[Layer] = LAYERS) -> Recipe:
    """Return a recipe, built-in or of one's own.

    Parameters
    ----------
    name
        As in `--track`.
    own
        The recipes of a song's and its class's own tracks.
    layers
        What the song has of them.

    Raises
    ------
    RequestError
        There is none of that name; with a suggestion.
    """
    recipes = {recipe.name: recipe for recipe in (*recipes_of(layers), *own)}
    if name not in recipes:
        if any(name == recipe.name for recipe in SECOND_RECIPES):
            raise RequestError(f"the track {name} is for songs with a second voice: {WRITE_SECOND}")
        near = lookalikes(name.replace(" ", "-").replace("_", "-"), recipes)
        hint = did_you_mean(near) or "; tercet kit --list tells those there are"
        raise RequestError(f"there is no track {name}{hint}", given=name, meant="".join(near))
    return recipes[name]


def choose_layers(
    without: tuple[Layer, ...] = (), only: tuple[Layer, ...] = (), layers: Sequence[Layer] = LAYERS
) -> Recipe:
    """Return the recipe of a free choice: only some of a song's layers, or all of them, less those left out.

    Raises
    ------
    RequestError
        Nothing would be heard, or the song has no second voice.
    """
    if SECOND in (*without, *only) and SECOND not in layers:
        raise RequestError(f"this song has no second voice: {WRITE_SECOND}")
    heard = [layer for layer in layers if (not only or layer in only) and layer not in without]
    if not heard:
        raise RequestError("no layer is left to hear: remove one of --without or --only")
    left_out = [layer for layer in layers if layer not in heard]
    if not left_out:
        return recipe_named("demo", layers=layers)
    if len(heard) == 1:
        return recipe_named(f"only-{heard[0]}", layers=layers)
    if len(left_out) == 1:
        return recipe_named(f"without-{left_out[0]}", layers=layers)
    return _yours(
        f"without-{'-'.join(left_out)}",
        Either(tuple(map(Word, left_out))),
        f"play {listed(left_out, 'and')} yourself",
    )


# ---- tracks of one's own


def own_recipes(tracks: Iterable[OwnTrack], file: str) -> tuple[Recipe, ...]:
    """Return the recipes of tracks of one's own.

    Parameters
    ----------
    tracks
        As the file has them; their choices and bars were checked when it was read.
    file
        The file's name, for a message.

    Raises
    ------
    SongError
        A track has the name of a built-in one.
    """
    found = tuple(tracks)
    refuse_names(found, [recipe.name for recipe in (*RECIPES, *SECOND_RECIPES)], file)
    return tuple(map(_own_recipe, found))


def _own_recipe(track: OwnTrack) -> Recipe:
    heard = Unless(parse_choice(track.yours)) if track.yours else parse_choice(track.heard or "all")
    form = PRACTICE_FORMS[track.way]
    return Recipe(
        name=track.name,
        purpose=track.purpose or _own_purpose(track),
        way="through" if track.way == "flat" else track.way,
        flat=track.way == "flat",
        heard=heard,
        guide=parse_choice(track.guide or "nothing"),
        by=track.by,
        swap=track.swap,
        speeds=track.speeds or form.speeds,
        times=track.times or form.times,
        bars=track.bars,
    )


def _own_purpose(track: OwnTrack) -> str:
    """Return a sentence for a track whose file has none."""
    if track.yours:
        return f"yours: {track.yours}; the rest is played for you"
    return f"heard: {track.heard}" if track.heard else f"a track of this class ({track.way})"


# ---- what tracks and their files are called


def slug(title: str) -> str:
    """Return a title as a file name that every system takes: small letters, digits and hyphens, at most 40.

    >>> slug("Die Mühle, ganz früh!")
    'die-muhle-ganz-fruh'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].rstrip("-") or "song"


def speed_name(speed: Fraction) -> str:
    """Return a speed as it stands in titles and file names: ``60`` for 60 %, empty at full speed."""
    return "" if speed == 1 else f"{float(speed * 100):g}"


def track_title(title: str, recipe: Recipe, speed: Fraction, set_title: str = "") -> str:
    """Return what a player shows: ``Harbour Lanterns (low-g, without melody, 60%)``; a ladder tells its steps."""
    speeds = [each * speed for each in recipe.steps]
    steps = " ".join(f"{float(each):.0%}" for each in speeds) if speeds != [1] else ""
    words = [set_title, recipe.name.replace("-", " "), steps]
    return f"{title} ({', '.join(filter(None, words))})"


def file_stem(recipe: Recipe, number: int, speed: Fraction) -> str:
    """Return a track's name among a kit's files, which sorts in class order: ``02-demo``, ``06-echo-60``."""
    return "-".join(filter(None, [f"{number:02}", recipe.name, speed_name(speed)]))
