"""Tunes of our own making, written in several manners, come in as they are played; nothing is lost unsaid."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.exchange import imported_text
from tercet.exchange.abc import read_abc
from tercet.exchange.midi.reader import read_midi
from tercet.exchange.musicxml import read_musicxml
from tercet.song import played_bars
from tests.exchange.heard import BUT_FOR_RESTS, EXACT, imported, verdict_of_song
from tests.exchange.made_tunes import MANNERS, MadeTune, as_abc, as_midi, as_musicxml, chance, made_tune
from tests.exchange.midi.oracle import verdict_of_track

seeds = st.integers(0, 2**32 - 1)


@given(seeds)
@pytest.mark.parametrize("manner", MANNERS)
@settings(max_examples=40, deadline=None)
def test_scores_are_played_as_they_were_put_together(manner: str, seed: int) -> None:
    tune = made_tune(chance(seed))
    data = as_musicxml(tune, manner, chance(seed))
    ours = imported(read_musicxml(data, "made.musicxml"))
    verdict = verdict_of_song(ours.notes, tune.played, Fraction(0), ours.remarks)
    assert verdict in (EXACT, BUT_FOR_RESTS)
    assert not any("never played" in remark for remark in ours.remarks)


@given(seeds)
@pytest.mark.parametrize("manner", MANNERS)
@settings(max_examples=30, deadline=None)
def test_every_syllable_is_sung_or_said_to_be_left_out(manner: str, seed: int) -> None:
    tune = made_tune(chance(seed))
    data = as_musicxml(tune, manner, chance(seed))
    _, song, remarks = imported_text(read_musicxml(data, "made.musicxml"), "made.musicxml")
    sung = {syllable.text for bar in played_bars(song) for _, syllable in bar.words}
    wanted = {part.partition("<")[0] for part in data.decode().split("<text>")[1:]}
    lost = {text[-1] for text in wanted - sung}
    assert sung <= wanted
    assert all(
        any(f"words of verse {verse} that no pass sings" in each for each in remarks) for verse in lost
    )


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_abc_is_played_as_it_was_put_together(seed: int) -> None:
    tune = made_tune(chance(seed))
    ours = imported(read_abc(as_abc(tune).encode(), "made.abc"))
    verdict = verdict_of_song(ours.notes, tune.played, Fraction(0), ours.remarks)
    assert verdict in (EXACT, BUT_FOR_RESTS)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_midi_is_played_as_it_was_put_together(seed: int) -> None:
    tune = made_tune(chance(seed))
    assert (
        verdict_of_track(imported(read_midi(as_midi(tune, chance(seed)), "made.mid")), tune.played) == EXACT
    )


def test_a_wrong_order_would_be_seen() -> None:
    def wrong(tune: MadeTune) -> bool:
        ours = imported(read_musicxml(as_musicxml(tune, "both", chance(1)), "made.musicxml"))
        shorter = MadeTune(tune.meter, tune.bars, tune.order[:-1])
        return verdict_of_song(ours.notes, shorter.played, Fraction(0), ours.remarks) not in (
            EXACT,
            BUT_FOR_RESTS,
        )

    assert all(wrong(made_tune(chance(seed))) for seed in range(20))
