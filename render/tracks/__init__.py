"""Tracks: what a student listens to."""

from render.tracks.recipes import RECIPES, Recipe, choose_layers, recipe_named

__all__ = ["RECIPES", "Recipe", "choose_layers", "recipe_named"]
