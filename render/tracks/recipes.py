"""Track recipes: which layers a track is made of, and what it is called."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches

from render.errors import RequestError
from render.song import LAYERS, Layer

__all__ = ["RECIPES", "Recipe", "choose_layers", "recipe_named"]


@dataclass(frozen=True, slots=True)
class Recipe:
    """A choice of layers.

    Parameters
    ----------
    name
        As in `--track` and in file names.
    layers
        What is heard, in the order of `LAYERS`.
    purpose
        What a student does with it, in one sentence.
    """

    name: str
    layers: tuple[Layer, ...]
    purpose: str


def _without(layer: Layer, purpose: str) -> Recipe:
    return Recipe(f"without-{layer}", tuple(other for other in LAYERS if other != layer), purpose)


RECIPES: tuple[Recipe, ...] = (
    Recipe("demo", LAYERS, "all three layers, as the song should sound"),
    _without("melody", "play the tune yourself, over single notes and strums"),
    _without("between", "put the single notes between yourself"),
    _without("strums", "fill the long spaces with quiet strums yourself"),
    Recipe("only-melody", ("melody",), "listen to the rolls of the tune alone"),
    Recipe("only-between", ("between",), "listen to the single notes alone"),
    Recipe("only-strums", ("strums",), "listen to the strums alone"),
)
"""The tracks of a kit, in class order."""


def recipe_named(name: str) -> Recipe:
    """Return a built-in recipe; `RequestError` with a suggestion when there is none of that name."""
    names = [recipe.name for recipe in RECIPES]
    if name not in names:
        near = get_close_matches(name, names, n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise RequestError(f"there is no track {name!r}{hint} Tracks: {', '.join(names)}")
    return RECIPES[names.index(name)]


def choose_layers(without: tuple[Layer, ...] = (), only: tuple[Layer, ...] = ()) -> Recipe:
    """Return the recipe of a free choice: only these layers, or all of them, less those left out.

    A choice that a built-in recipe makes gets that recipe.

    Raises
    ------
    RequestError
        Nothing would be heard.
    """
    layers = tuple(layer for layer in LAYERS if (not only or layer in only) and layer not in without)
    if not layers:
        raise RequestError("no layer is left to hear: take one of --without or --only away")
    for recipe in RECIPES:
        if recipe.layers == layers:
            return recipe
    raise RequestError(
        f"no recipe has the layers {', '.join(layers)}"
    )  # all choices of three layers have one
