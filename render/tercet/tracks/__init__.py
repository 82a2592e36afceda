"""Tracks: what a student listens to."""

from tercet.tracks.recipes import RECIPES, SECOND_RECIPES, Recipe, choose_layers, recipe_named, recipes_of

__all__ = ["RECIPES", "SECOND_RECIPES", "Recipe", "choose_layers", "recipe_named", "recipes_of"]
