"""Start values of the joint fit: shared poles from every tap at once.

The range is cut into bands at the valleys of the mean spectrum. Each band is shifted to
0 Hz along the gliding carrier, filtered (valid-only) and decimated; the Hankel rows of
all taps are stacked, and ESPRIT with total least squares gives the poles that they share.
ESPRIT: Roy & Kailath, IEEE Trans. ASSP 37 (1989) (FROM MEMORY).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.filters import decimate, lowpass
from hoopwise.listen.glide import settling
from hoopwise.listen.joint.data import Floats, Round, shorten, take
from hoopwise.listen.poles import esprit

Complexes = NDArray[np.complex128]
Band = tuple[float, float, float]
"""Low and high edge (Hz), energy."""

HALF_BAND_HZ = 45.0
BAND_RATE_HZ = 250.0
ROWS = 80
"""Length of a Hankel row, samples at the band's rate."""
ABOVE_NOISE = 1.7
MOST_POLES = 32
RAMP_S = 0.012
"""Soft start of the spectrum that finds the bands: strong modes must not fill quiet ones."""
LOUD_BANDS = 4
FASTEST = 200.0
"""Fastest decay that is taken for a mode, 1/s."""
GLIDES = (0.0, 0.002, 0.004, 0.007, 0.010, 0.014, 0.019, 0.025)


@dataclass(frozen=True)
class Poles:
    """Shared poles with the glide of each tap: all that is not linear in the model."""

    frequency_hz: Floats
    decay_per_s: Floats
    glide: Floats
    """(T,)"""
    glide_rate: float


def first_glide(data: Round, bands: list[Band]) -> tuple[Floats, float, Floats]:
    """Glide of each tap (T,), its rate, and each tap's share of the loudest tap's energy (T,).

    The glide that lets few poles explain the loudest bands best, in proportion to energy.
    """
    energy = np.sum(data.samples**2, axis=1)
    energy = np.maximum(energy - data.lengths * data.noise**2, 1e-3 * energy)
    share = energy / energy.max()
    rate = energy_decay(data)
    strong = sorted(bands, key=lambda band: -band[2])[:LOUD_BANDS]
    loud = np.argsort(-share)[:8]
    few = shorten(take(data, loud), 0.35)
    left = [_unexplained(few, strong, g * share[loud], rate) for g in GLIDES]
    glide = GLIDES[int(np.argmin(left))]
    return glide * share, rate, share


def all_poles(data: Round, bands: list[Band], glide: Floats, glide_rate: float) -> Poles:
    """Poles of the given bands at known glides, growing in frequency."""
    samples = data.samples / data.noise[:, None]

    def inside(band: Band) -> list[tuple[float, float]]:
        low, high, _ = band
        centre = (low + high) / 2
        z = shift_band(samples, data, centre, glide, glide_rate)
        near = [(centre + f, a) for f, a in band_poles(z, data, None)]
        return [(f, a) for f, a in near if low <= f < high and 1.5 < a < FASTEST]

    found = [pole for band in bands for pole in inside(band)]
    table = np.array(sorted(found)).reshape(-1, 2)
    return Poles(table[:, 0], table[:, 1], glide, glide_rate)


def energy_decay(data: Round) -> float:
    """Rate at which the energy of the sound falls at first, 1/s: the glide's likely rate."""
    power = np.sum((data.samples / data.noise[:, None]) ** 2, axis=0)
    block = max(1, int(0.02 * data.rate_hz))
    n = len(power) // block
    level = power[: n * block].reshape(n, block).mean(axis=1)
    keep = level > level[0] / 100
    last = max(3, int(np.argmin(keep)) if not keep.all() else n)
    t = np.arange(last) * block / data.rate_hz
    slope = np.polyfit(t, np.log(level[:last] + 1e-300), 1)[0]
    return float(np.clip(-slope, 6.0, 30.0))


def cut_bands(data: Round, low_hz: float, high_hz: float) -> list[Band]:
    """Bands (low, high, energy) 50 to 85 Hz wide, cut at valleys; quiet ones left out."""
    size = 1 << int(np.ceil(np.log2(2 * data.samples.shape[1])))
    ramp = np.sin(np.pi / 2 * np.clip((data.times_s - data.times_s[0]) / RAMP_S, 0, 1)) ** 2
    spectrum = np.fft.rfft(data.samples * ramp / data.noise[:, None], size, axis=1)
    power = np.sum(np.abs(spectrum) ** 2, axis=0)
    audible = data.lengths.sum() * (1 + 6 / np.sqrt(data.taps))
    width = data.rate_hz / size
    bands = []
    low = low_hz
    while low < high_hz - 20:
        first, last = int((low + 50) / width), int((low + 2 * HALF_BAND_HZ - 5) / width)
        cut = min((first + int(np.argmin(power[first:last]))) * width, high_hz)
        inside = power[int(low / width) : int(cut / width)]
        if inside.max() > audible:
            bands.append((low, cut, float(inside.sum())))
        low = cut
    return bands


def shift_band(
    samples: Floats, data: Round, centre_hz: float, glide: Floats, glide_rate: float
) -> Complexes:
    """Band round ``centre_hz`` as (T, n) complex samples at about 250 Hz, glide taken out."""
    u = settling(data.times_s, glide_rate)
    step, kernel = _band_filter(data)
    turns = centre_hz * (data.times_s + glide[:, None] * u)
    turns -= np.floor(turns)
    # Single precision is far below any microphone's noise. Not exp of an imaginary number,
    # which takes many times longer than cosine and sine.
    phase = (2 * np.pi * turns).astype(np.float32)
    plain = samples.astype(np.float32)
    real = decimate(plain * np.cos(phase), kernel, step)
    imag = decimate(plain * np.sin(phase), kernel, step)
    return np.asarray(real - 1j * imag, dtype=np.complex128)


def _band_filter(data: Round) -> tuple[int, Floats]:
    """Decimation step of a band and its low-pass, which protects the pass band."""
    step = max(1, int(data.rate_hz / BAND_RATE_HZ))
    return step, lowpass(0.5 / step, 1 / step - 2 * HALF_BAND_HZ / data.rate_hz, 50.0)


def _hankel_gram(z: Complexes, data: Round) -> tuple[NDArray[np.complex128], int]:
    """Summed outer products of all valid Hankel rows of all taps, and their number.

    Each entry is a sum along a tap; its neighbour down the diagonal is the same sum one
    sample later, which differs by what leaves at the start and what joins at the end.
    """
    step, kernel = _band_filter(data)
    size = min(ROWS, z.shape[1] // 2)
    starts = z.shape[1] - size + 1
    counts = np.clip((data.lengths - len(kernel)) // step + 1 - size + 1, 0, starts)
    first = np.where(np.arange(z.shape[1]) < counts[:, None], z, 0.0)
    # what a row's first number has in common with all its others, by way of the spectrum
    padded = 1 << int(np.ceil(np.log2(z.shape[1] + 1)))
    cross = np.sum(np.fft.fft(first, padded).conj() * np.fft.fft(z, padded), axis=0)
    used = np.flatnonzero(counts)
    head = z[used, : size - 1]
    tail = z[used[:, None], counts[used, None] + np.arange(size - 1)]
    change = tail.T @ tail.conj() - head.T @ head.conj()
    gram = np.empty((size, size), dtype=complex)
    gram[:, 0] = np.fft.ifft(cross)[:size]
    gram[0] = gram[:, 0].conj()
    for i in range(size - 1):
        gram[i + 1, 1:] = gram[i, :-1] + change[i]
    return gram, int(counts.sum())


def _unexplained(data: Round, bands: list[Band], glide: Floats, rate: float) -> float:
    """Energy that four poles a band leave over."""
    total = 0.0
    for low, high, _ in bands:
        z = shift_band(data.samples / data.noise[:, None], data, (low + high) / 2, glide, rate)
        gram, _ = _hankel_gram(z, data)
        total += float(np.linalg.eigvalsh(gram)[:-4].sum())
    return total


def band_poles(z: Complexes, data: Round, order: int | None) -> list[tuple[float, float]]:
    """(offset Hz, decay 1/s) of the poles in a band; order None counts strong eigenvalues."""
    gram, count = _hankel_gram(z, data)
    if count < 4:
        return []
    values, vectors = np.linalg.eigh(gram)
    step, _ = _band_filter(data)
    if order is None:
        floor = max(count / step, 1.25 * float(np.median(values[: len(values) // 2])))
        echo = data.room**2 * float(values[-1])
        order = int(np.sum(values > max(ABOVE_NOISE * floor, echo)))
    order = min(order, MOST_POLES, len(values) // 2)
    if order == 0:
        return []
    poles = esprit(vectors[:, ::-1], order, step / data.rate_hz)
    return [(float(s.imag / (2 * np.pi)), float(-s.real)) for s in poles]
