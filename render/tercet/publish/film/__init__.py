"""Films: two lines of music that move with the sound, for whoever shows no page."""

from tercet.publish.film.cards import TitleCard
from tercet.publish.film.frames import Film
from tercet.publish.film.sizes import FILM_SIZES, FRAME_RATE_HZ, TITLE_S, FilmSize, film_size_named
from tercet.publish.film.times import FilmTimes, film_times

__all__ = [
    "FILM_SIZES",
    "FRAME_RATE_HZ",
    "TITLE_S",
    "Film",
    "FilmSize",
    "FilmTimes",
    "TitleCard",
    "film_size_named",
    "film_times",
]
