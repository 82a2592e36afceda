"""Tracks: what a student listens to."""

from tercet.tracks.recipes import RECIPES, Recipe, choose_layers, recipe_named

__all__ = ["RECIPES", "Recipe", "choose_layers", "recipe_named"]
