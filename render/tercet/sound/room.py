"""The room in which the players sit: left to right, near to far, and one short echo around them.

Each layer is one player at one place. What reaches the listener is linear in what the player does: a direct sound,
a few first reflections and a short diffuse tail, all in one pair of responses (left, right) for each layer. So the
layers in the room still add up to the mix in the room. What is far has less treble and more room. A gain for each
layer takes back what its responses do to the loudness, so that the marks stay the levels that are heard. All-passes,
the same for all, lower the peaks.

The responses are made here, from figures in this module and chances drawn from fixed seeds. `tercet.sound.convolution`
applies them. The direct sound isn't delayed: distance is heard, not waited for.
"""

from __future__ import annotations

import functools
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tercet.song import LAYERS, Layer
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.convolution import THREADS, Convolution, convolved
from tercet.sound.k_weighting import k_weighting_response
from tercet.sound.stems import StemName, Stems

__all__ = [
    "RESPONSE_FRAMES",
    "SEATS",
    "T60_S",
    "Seat",
    "in_room",
    "layer_responses",
    "pan_gains",
    "room_identity",
]

VERSION = 3
"""Raised whenever this module makes other samples from the same stems."""


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a player sits, seen from the listener.

    Parameters
    ----------
    azimuth_deg
        Degrees to the right of straight ahead; negative is left.
    distance_m
        From the listener.
    """

    azimuth_deg: float
    distance_m: float


SEATS: dict[Layer, Seat] = {
    "melody": Seat(0.0, 1.2),
    "second": Seat(10.0, 1.5),
    "between": Seat(-12.0, 1.6),
    "strums": Seat(18.0, 2.4),
}
"""The tune in front of the listener, a second voice beside it to the right, the notes between a little to the left, the
strums further back to the right."""

STAGE_DEG = 45.0
"""A source at this azimuth is heard on one side only."""

ROOM_M = (4.2, 3.6, 2.6)
"""Width, depth and height of a small room to rehearse in."""

LISTENER_M = (2.0, 0.7, 1.15)
"""Where the listener's head is: off the middle, so that reflections from left and right don't come together."""

SPEED_OF_SOUND_M_S = 343.0
"""In air at 20 °C."""

T60_S = 0.30
"""The diffuse tail falls by 60 dB in this time."""

ROOM_AT_1_M_DB = -17.0
"""Energy of all reflections against that of the direct sound, for a player 1 m away, before it is evened."""

EARLY_SHARE = 0.3
"""The part of that energy which the first reflections have; the tail has the rest."""

WALL_REFLECTION = 0.6
"""What a wall leaves of the amplitude of a first reflection."""

MOST_BOUNCES = 2
"""First reflections are those off one wall or two."""

TAIL_FROM_S, TAIL_RISE_S = 0.006, 0.012
"""The diffuse tail sets in after the first time and has risen after the second."""

PULSES_A_SECOND = 2400
"""Density of the tail: velvet noise sounds smooth from some 1500 to 2000 pulses a second on."""

ROOM_BAND_HZ = (200.0, 5000.0)
"""Walls and curtains give little back below and above: so nothing booms or hisses."""

TREBLE_FROM_HZ = 3000.0
TREBLE_LOSS_DB_A_DOUBLING = 1.5
"""The direct sound loses this much treble, well above that frequency, with each doubling of the distance from 1 m."""

ALL_PASSES: tuple[tuple[float, float], ...] = ((400.0, 1.0), (900.0, 0.75), (1800.0, 0.6))
"""Corner in Hz and Q of what spreads the spike of a pluck over a millisecond or two, where a plucked string has most of
its power: peaks of our songs come out 2.7 to 4.8 dB lower at the same loudness, so a song can be that much louder."""

RESPONSE_FRAMES = 12_288
"""Length of a response, 0.256 s: the tail has fallen by 50 dB, and is faded to nothing over the end."""

FADE_S = 0.03
"""The end of a response over which it is faded."""

SPECTRUM_FRAMES = 32_768
"""Length of the Fourier transforms in which responses are shaped."""

SOURCE_BAND_HZ, SOURCE_SLOPE_DB_AN_OCTAVE = (250.0, 6000.0), -6.0
"""Band and slope of the power density of a plucked string, for the gain that keeps a layer's loudness."""


def in_room(stems: Stems, threads: int = THREADS) -> Stems:
    """Return stems as they sound in the room, longer by `RESPONSE_FRAMES` so that the tail rings out.

    Linear and the same everywhere: the sum of two takes in the room is their sum in the room, to rounding. Nothing
    sounds earlier than before. The cues stay dry and in the middle; they come from no player.

    Parameters
    ----------
    stems
        48 kHz, as a synthesiser makes them; any of them. The two sides of a layer are added: a player is one source.
    threads
        How many work on it.
    """
    layers = [layer for layer in LAYERS if layer in stems.by_name]
    heard = convolved(
        [stems.by_name[layer] for layer in layers], [_convolution(layer) for layer in layers], threads
    )
    by_name: dict[StemName, NDArray[np.float32]] = dict(zip(layers, heard, strict=True))
    if "cues" in stems.by_name:
        by_name["cues"] = np.pad(stems.by_name["cues"], ((0, RESPONSE_FRAMES), (0, 0)))
    return Stems(stems.sample_rate_hz, by_name)


def room_identity() -> str:
    """Return a text that changes whenever the room would sound different."""
    return f"room {VERSION}"


@functools.cache
def layer_responses(layer: Layer) -> NDArray[np.float64]:
    """Return what the listener hears left and right of one impulse of a player, float64 (2, `RESPONSE_FRAMES`).

    The K-weighted power of a plucked string, left and right together, is that of the dry string on both sides.
    Read-only.
    """
    place = SEATS[layer]
    room = math.sqrt(10.0 ** (ROOM_AT_1_M_DB / 10.0)) * place.distance_m
    early = _with_energy(_early_reflections(place), room**2 * EARLY_SHARE)
    tail = _with_energy(_tail(layer), room**2 * (1.0 - EARLY_SHARE))
    room_spectrum = np.fft.rfft(early + tail, SPECTRUM_FRAMES) * _room_band()
    direct_spectrum = pan_gains(place.azimuth_deg)[:, None] * _treble_loss(place.distance_m)
    spectrum = _evened(direct_spectrum + room_spectrum, direct_spectrum) * _all_passes(ALL_PASSES)
    responses = np.fft.irfft(spectrum, SPECTRUM_FRAMES)[:, :RESPONSE_FRAMES]
    fade_frames = round(FADE_S * SAMPLE_RATE_HZ)
    responses[:, -fade_frames:] *= 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, fade_frames))
    responses *= _loudness_gain(responses)
    responses.flags.writeable = False
    return responses


def pan_gains(azimuth_deg: float) -> NDArray[np.float64]:
    """Return the gains left and right of a source, float64 (2,): (1, 1) straight ahead.

    Equal power, gains √2·cos φ and √2·sin φ with φ from 0 (left) to 90° (right) across the stage: their squares add
    up to 2 everywhere (V. Pulkki, "Virtual Sound Source Positioning Using Vector Base Amplitude Panning",
    JAES 45(6), 1997, on the tangent law and constant power).

    Parameters
    ----------
    azimuth_deg
        To the right of straight ahead; beyond `STAGE_DEG` on either side, that side alone.
    """
    across = min(max(azimuth_deg / STAGE_DEG, -1.0), 1.0)
    angle = (1.0 + across) * math.pi / 4.0
    return np.array([math.sqrt(2.0) * math.cos(angle), math.sqrt(2.0) * math.sin(angle)])


@functools.cache
def _convolution(layer: Layer) -> Convolution:
    """Return the responses of a layer, to be applied to the mean of its two sides."""
    return Convolution.of(layer_responses(layer))


def _early_reflections(place: Seat) -> NDArray[np.float64]:
    """Return the first reflections of a source, float64 (2, `RESPONSE_FRAMES`), in frames after the direct sound.

    Image sources in a box (J. B. Allen & D. A. Berkley, "Image method for efficiently simulating small-room
    acoustics", JASA 65(4), 1979): each image sounds (r − r₀)/c after the direct sound, at r₀/r times βⁿ of its
    amplitude for n walls, from its own direction.
    """
    azimuth = math.radians(place.azimuth_deg)
    ahead = (place.distance_m * math.sin(azimuth), place.distance_m * math.cos(azimuth), 0.0)
    source = tuple(here + there for here, there in zip(LISTENER_M, ahead, strict=True))
    response = np.zeros((2, RESPONSE_FRAMES))
    for image, bounces in _images(source):
        path = [there - here for here, there in zip(LISTENER_M, image, strict=True)]
        length_m = math.hypot(*path)
        frame = round((length_m - place.distance_m) / SPEED_OF_SOUND_M_S * SAMPLE_RATE_HZ)
        amplitude = WALL_REFLECTION**bounces * place.distance_m / length_m
        side_deg = math.degrees(math.asin(path[0] / length_m))
        response[:, frame] += amplitude * pan_gains(side_deg)
    return response


def _images(source: tuple[float, ...]) -> Iterator[tuple[tuple[float, ...], int]]:
    """Yield the mirror images of a source off up to `MOST_BOUNCES` walls, each with the number of its walls.

    Along an axis of length L the source at x appears at x + 2kL after 2|k| walls and at 2kL − x after |2k − 1|.
    """
    reach = range(-MOST_BOUNCES, MOST_BOUNCES + 1)
    axes = [
        [
            ((x + wall * length, abs(wall)) if wall % 2 == 0 else ((wall + 1) * length - x, abs(wall)))
            for wall in reach
        ]
        for x, length in zip(source, ROOM_M, strict=True)
    ]
    for along in product(*axes):
        bounces = sum(walls for _, walls in along)
        if 0 < bounces <= MOST_BOUNCES:
            yield tuple(x for x, _ in along), bounces


def _tail(layer: Layer) -> NDArray[np.float64]:
    """Return the diffuse tail of a layer, float64 (2, `RESPONSE_FRAMES`), each side from its own chances.

    Velvet noise: one pulse of +1 or −1 at a random frame of each grid period (H. Järveläinen & M. Karjalainen,
    "Reverberation Modeling Using Velvet Noise", AES 30th Conference, 2007), under the envelope 10^(−3t/T60).
    """
    time_s = np.arange(RESPONSE_FRAMES) / SAMPLE_RATE_HZ
    rise = np.clip((time_s - TAIL_FROM_S) / (TAIL_RISE_S - TAIL_FROM_S), 0.0, 1.0)
    tail = np.zeros((2, RESPONSE_FRAMES))
    period = SAMPLE_RATE_HZ // PULSES_A_SECOND
    for side, name in enumerate(("left", "right")):
        chance = random.Random(f"{room_identity()}, {layer}, {name}")  # noqa: S311 - sound, no secret
        for start in range(0, RESPONSE_FRAMES - period, period):
            tail[side, start + int(chance.random() * period)] = 1.0 if chance.random() < 0.5 else -1.0
    return tail * rise * 10.0 ** (-3.0 * time_s / T60_S)


def _with_energy(responses: NDArray[np.float64], energy: float) -> NDArray[np.float64]:
    """Return responses (2, frames) scaled so that left and right have so much energy on average."""
    scaled: NDArray[np.float64] = responses * math.sqrt(2.0 * energy / float((responses**2).sum()))
    return scaled


@functools.cache
def _low_pass(corner_hz: float) -> NDArray[np.complex128]:
    """Return the answer (bins,) of (1 − a)/(1 − a z⁻¹) with a = exp(−2π f_c/f_s), a one-pole low-pass.

    J. O. Smith, "Introduction to Digital Filters", 2007, «One-Pole».
    """
    pole = math.exp(-2.0 * math.pi * corner_hz / SAMPLE_RATE_HZ)
    delay = np.exp(-2j * np.pi * np.arange(SPECTRUM_FRAMES // 2 + 1) / SPECTRUM_FRAMES)
    return np.asarray((1.0 - pole) / (1.0 - pole * delay))


def _room_band() -> NDArray[np.complex128]:
    """Return the answer (bins,) of what the walls give back: high-pass and low-pass, one pole each."""
    lowest_hz, highest_hz = ROOM_BAND_HZ
    band: NDArray[np.complex128] = (1.0 - _low_pass(lowest_hz)) * _low_pass(highest_hz)
    return band


@functools.cache
def _all_passes(filters: tuple[tuple[float, float], ...]) -> NDArray[np.complex128]:
    """Return the answer (bins,) of the all-passes in a row: magnitude 1 everywhere.

    R. Bristow-Johnson, "Cookbook formulae for audio equalizer biquad filter coefficients", APF.
    """
    delay = np.exp(-2j * np.pi * np.arange(SPECTRUM_FRAMES // 2 + 1) / SPECTRUM_FRAMES)
    answer: NDArray[np.complex128] = np.ones_like(delay)
    for corner_hz, sharpness in filters:
        omega = 2.0 * math.pi * corner_hz / SAMPLE_RATE_HZ
        alpha, cosine = math.sin(omega) / (2.0 * sharpness), math.cos(omega)
        far, near = 1.0 + alpha, 1.0 - alpha
        answer *= (near + delay * (far * delay - 2.0 * cosine)) / (
            far + delay * (near * delay - 2.0 * cosine)
        )
    return answer


def _treble_loss(distance_m: float) -> NDArray[np.complex128]:
    """Return the answer (bins,) of the air and of what sits in between: a shelf g + (1 − g)·low-pass.

    1 at low frequencies, g far above `TREBLE_FROM_HZ`; it is a mix of the sound and its one-pole low-pass.
    """
    loss_db = TREBLE_LOSS_DB_A_DOUBLING * math.log2(distance_m)
    kept = 10.0 ** (-loss_db / 20.0)
    shelf: NDArray[np.complex128] = kept + (1.0 - kept) * _low_pass(TREBLE_FROM_HZ)
    return shelf


def _evened(spectrum: NDArray[np.complex128], model: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return answers (2, bins) filtered so that both sides together have the power of a model (2, bins) everywhere.

    Otherwise reflections would make one pitch louder than the next, by up to 2 dB at the place of the strums, and
    marks would no longer be what is measured. Both sides get the same filter, the one of minimum phase with the
    magnitude that is missing, so nothing comes earlier: its cepstrum is the even one of the logarithm of the magnitude,
    folded to positive times (A. V. Oppenheim & R. W. Schafer, "Discrete-Time Signal Processing", 3rd edition,
    section 13.5). What is filtered away is the part of the room in step with the direct sound, about half its
    energy; so the sum of both sides has no comb in it either.
    """
    missing = (np.abs(model) ** 2).sum(axis=0) / (np.abs(spectrum) ** 2).sum(axis=0)
    cepstrum = np.fft.irfft(0.5 * np.log(missing), SPECTRUM_FRAMES)
    cepstrum[1 : SPECTRUM_FRAMES // 2] *= 2.0
    cepstrum[SPECTRUM_FRAMES // 2 + 1 :] = 0.0
    evened: NDArray[np.complex128] = spectrum * np.exp(np.fft.rfft(cepstrum))
    return evened


def _loudness_gain(responses: NDArray[np.float64]) -> float:
    """Return the gain after which responses (2, frames) keep the K-weighted power of a plucked string."""
    inside, source = _plucked_string()
    power = (np.abs(np.fft.rfft(responses, SPECTRUM_FRAMES)[:, inside]) ** 2).mean(axis=0)
    return math.sqrt(float(source.sum()) / float((source * power).sum()))


@functools.cache
def _plucked_string() -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Return which bins a plucked string has power in, and its K-weighted power density there."""
    hertz = np.fft.rfftfreq(SPECTRUM_FRAMES, 1.0 / SAMPLE_RATE_HZ)
    lowest_hz, highest_hz = SOURCE_BAND_HZ
    inside = (hertz >= lowest_hz) & (hertz <= highest_hz)
    octaves = np.log2(hertz[inside] / lowest_hz)
    source = 10.0 ** (SOURCE_SLOPE_DB_AN_OCTAVE * octaves / 10.0)
    source *= np.abs(k_weighting_response(SAMPLE_RATE_HZ, SPECTRUM_FRAMES)[inside]) ** 2
    return inside, source
