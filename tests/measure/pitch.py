"""How far a note is from equal temperament, in cents."""

from __future__ import annotations

import math

import numpy as np

from tests.measure.audio import Track

__all__ = ["cents_sharp", "pitch_rise_db"]

ATTACK_S = 0.08
"""A plucked string is sharp for a moment; measuring begins after it."""

SHORTEST_S, LONGEST_S = 0.25, 0.7
"""How much of a note is measured."""

HOP_S = 0.02
SEARCH_CENTS = 60.0
STANDARD_HZ = 440.0
RISE_S = 0.08
"""How long a fundamental is heard before and after a moment; two a semitone apart are still told apart at A4."""


def cents_sharp(track: Track, midi: int, onset_s: float, end_s: float) -> float:
    """Return how sharp the fundamental of one note is against equal temperament at A4 = 440 Hz; negative is flat.

    The highest point of a Hann-windowed spectrum within 60 cents gives the frequency roughly; how far its phase turns
    from one window to the next, 20 ms later, gives it finely (the phase vocoder's way, Flanagan & Golden 1966). On a
    steady decaying note to 0.05 cent. In a sampled font the pitch itself moves by a few tenths while it dies away.

    Parameters
    ----------
    track
        Where nothing else sounds near this pitch.
    midi
        The key that it should be.
    onset_s, end_s
        When it is struck and damped, at least 0.35 s apart.

    Raises
    ------
    ValueError
        The note is too short to tell.
    """
    rate_hz = track.rate_hz
    start_s = onset_s + ATTACK_S
    end_s = min(end_s, start_s + LONGEST_S)
    mono = track.samples[round(start_s * rate_hz) : round(end_s * rate_hz)].mean(axis=1)
    hop = round(HOP_S * rate_hz)
    size = len(mono) - hop
    if size < (SHORTEST_S - HOP_S) * rate_hz:
        raise ValueError(f"a note of {end_s - onset_s:.3f} s is too short to tell its pitch")
    window = np.hanning(size)
    wanted_hz = STANDARD_HZ * 2.0 ** ((midi - 69) / 12)
    padded = 4 << (size - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(mono[:size] * window, padded))
    reach = 2.0 ** (SEARCH_CENTS / 1200)
    first, last = (
        math.floor(wanted_hz / reach * padded / rate_hz),
        math.ceil(wanted_hz * reach * padded / rate_hz),
    )
    rough_hz = (first + int(np.argmax(spectrum[first : last + 1]))) * rate_hz / padded
    turn = np.exp(-2j * np.pi * rough_hz * np.arange(len(mono)) / rate_hz)
    now = np.vdot(window, (mono * turn)[:size])
    later = np.vdot(window, (mono * turn)[hop:])
    exact_hz = rough_hz + float(np.angle(later * np.conj(now))) / (2.0 * np.pi) * rate_hz / hop
    return 1200.0 * math.log2(exact_hz / wanted_hz)


def pitch_rise_db(track: Track, midi: int, onset_s: float, near_s: float) -> float:
    """Return how much louder a key's fundamental is after a moment than before it, in dB.

    Parameters
    ----------
    track
        What is measured.
    midi
        The key.
    onset_s, near_s
        When it should be struck, and how far around that is left out.
    """
    hertz = STANDARD_HZ * 2.0 ** ((midi - 69) / 12)
    frames = round(RISE_S * track.rate_hz)
    turning = np.hanning(frames) * np.exp(-2j * np.pi * hertz * np.arange(frames) / track.rate_hz)
    heard = []
    for start_s in (onset_s - near_s - RISE_S, onset_s + near_s):
        start = max(round(start_s * track.rate_hz), 0)
        mono = track.samples[start : start + frames].mean(axis=1)
        heard.append(max(abs(complex(mono @ turning[: len(mono)])), 1e-9))
    return 20.0 * math.log10(heard[1] / heard[0])
