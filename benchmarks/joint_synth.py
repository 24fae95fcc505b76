"""Rounds of synthetic taps with known modes, and the joint Cramer-Rao bound.

Nothing here calls hoopwise: shapes cos(m (place - axis)) and sin(m (place - axis)), a
half-sine-squared contact pulse, one microphone (a fixed complex factor a mode), glide in
proportion to strength squared, white noise. Hz, s, full scale 1.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LADDER = (
    (0, 0.559), (1, 1.0), (2, 1.416), (0, 1.553), (3, 1.812), (1, 2.003), (4, 2.195),
    (2, 2.47), (5, 2.58), (0, 2.66),
)  # fmt: skip
"""Nodal diameters and air-loaded ratios to (1,1); the first seven: rods.md's example."""


@dataclass(frozen=True)
class Truth:
    """K modes of a drum and their amplitudes at T taps."""

    frequency_hz: Floats
    decay_per_s: Floats
    group: NDArray[np.intp]
    amplitude: Complexes
    """(T, K) at the onset, as if the mode had rung freely from there."""
    glide: Floats
    glide_rate: float
    contact_s: float
    noise: float
    """rms of the white noise at the full rate."""


def make_drum(
    rng: np.random.Generator,
    taps: int = 30,
    *,
    groups: int = 8,
    contact_s: float = 0.003,
    glide: float = 0.01,
    noise_db: float = -50.0,
    splits_hz: tuple[float, float] = (0.2, 12.0),
    pairs: bool = True,
) -> Truth:
    """Random drum of some mode groups struck at places round the rim."""
    base = rng.uniform(110, 250)
    f_list: list[float] = []
    a_list: list[float] = []
    kind, shape = [], []
    places = np.sort(rng.uniform(0, 2 * np.pi, taps))
    for number, (m, ratio) in enumerate(LADDER[:groups]):
        ring = rng.uniform(0.1, 0.3) if ratio < 1 else np.exp(rng.uniform(np.log(0.3), np.log(2)))
        centre = base * ratio * (1 + 0.01 * rng.standard_normal())
        split = np.exp(rng.uniform(*np.log(splits_hz))) if m and pairs else 0.0
        axis = rng.uniform(0, 2 * np.pi)
        both = (-1, 1) if m and pairs else (0,)
        for side in both:
            f_list.append(centre + side * split / 2)
            a_list.append(np.log(1000) / (ring * np.exp(0.03 * rng.standard_normal())))
            kind.append(number)
            angle = m * (places - axis) - (np.pi / 2 if side > 0 else 0)
            hears = rng.uniform(0.25, 1) * np.exp(2j * np.pi * rng.uniform())
            shape.append(hears * (np.cos(angle) if m else np.ones(taps)))
    f, a = np.array(f_list), np.array(a_list)
    gain = np.exp(0.25 * rng.standard_normal(taps))
    pulse = pulse_spectrum(2j * np.pi * f - a, contact_s)
    amplitude = gain[:, None] * np.array(shape).T * pulse
    order = np.argsort(f)
    peak = np.median(np.abs(amplitude).sum(axis=1))
    return Truth(
        frequency_hz=f[order],
        decay_per_s=a[order],
        group=np.array(kind)[order],
        amplitude=amplitude[:, order] / peak * 0.5,
        glide=glide * gain**2 / np.mean(gain**2),
        glide_rate=2 * float(np.median(a)) * rng.uniform(0.7, 1.3),
        contact_s=contact_s,
        noise=0.5 * 10 ** (noise_db / 20),
    )


def pulse_spectrum(s: Complexes, contact_s: float) -> Complexes:
    """Integral of sin^2(pi t / c) exp(-s t) over the contact, unit mean force."""
    t = np.linspace(0, contact_s, 401)
    force = np.sin(np.pi * t / contact_s) ** 2
    return np.asarray(np.trapezoid(force * np.exp(-s[:, None] * t), t, axis=1) * 2 / contact_s)


def sound(
    truth: Truth,
    rng: np.random.Generator,
    rate_hz: float = 48000.0,
    length_s: float = 0.8,
    pre_s: float = 0.1,
) -> tuple[list[tuple[Floats, float]], list[float]]:
    """Samples and rate of each tap, and the true onsets (between samples)."""
    taps, onsets = [], []
    n = int((length_s + pre_s) * rate_hz)
    s = np.asarray(2j * np.pi * truth.frequency_hz - truth.decay_per_s)
    whole = pulse_spectrum(s, truth.contact_s)
    for amplitude, g in zip(truth.amplitude, truth.glide, strict=True):
        onset = pre_s - rng.uniform(0, 1) / rate_hz
        t = np.maximum(np.arange(n) / rate_hz - onset, 0)
        live = np.arange(n) / rate_hz > onset
        warped = t + g * -np.expm1(-truth.glide_rate * t) / truth.glide_rate
        y = truth.noise * rng.standard_normal(n)
        contact = live & (t < truth.contact_s)
        tc = t[contact]
        force = np.sin(np.pi * tc / truth.contact_s) ** 2 * 2 / truth.contact_s
        for k, a in enumerate(amplitude):
            w = 2 * np.pi * truth.frequency_hz[k]
            wave = np.where(live, np.exp(1j * w * warped - truth.decay_per_s[k] * t), 0)
            grow = np.cumsum(force * np.exp(-s[k] * tc)) / rate_hz / whole[k]
            wave[contact] *= grow
            y += (a * wave).real
        taps.append((y, rate_hz))
        onsets.append(onset)
    return taps, onsets


@dataclass(frozen=True)
class Bound:
    """Smallest standard deviations that any unbiased estimate can have."""

    frequency_hz: Floats
    """(K,)"""
    split_hz: Floats
    """(K,) of the distance to the next mode of the same group; nan without one."""
    log_decay: Floats
    covariance: Floats
    """(2K + 1, 2K + 1) of f, ln a, ln b."""


def joint_bound(
    truth: Truth, start_s: float, end_s: float, rate_hz: float = 48000.0, thin: int = 10
) -> Bound:
    """Cramer-Rao bound of the shared poles; amplitudes and glides of all taps unknown.

    Sum over taps of the Fisher matrix of damped sinusoids in white noise, nuisance
    parameters removed by the Schur complement. ``thin`` coarsens the time grid.
    """
    t = np.arange(start_s, end_s, thin / rate_hz)
    w = truth.noise / np.sqrt(thin)
    b, k = truth.glide_rate, len(truth.frequency_hz)
    total = np.zeros((2 * k + 1, 2 * k + 1))
    for amplitude, g in zip(truth.amplitude, truth.glide, strict=True):
        u = (1 - np.exp(-b * t)) / b
        s = 2j * np.pi * truth.frequency_hz[:, None]
        e = np.exp(s * (t + g * u) - truth.decay_per_s[:, None] * t)
        x = amplitude[:, None] * e
        by_b = (t * np.exp(-b * t) - u) * g * (s * x).sum(axis=0)
        by_g = (u * (s * x)).sum(axis=0)
        rows = np.vstack([
            2j * np.pi * (t + g * u) * x, -truth.decay_per_s[:, None] * t * x,
            by_b[None], by_g[None], e, 1j * e,
        ]).real / w  # fmt: skip
        fisher = rows @ rows.T
        m = 2 * k + 1
        total += fisher[:m, :m] - fisher[:m, m:] @ np.linalg.solve(fisher[m:, m:], fisher[m:, :m])
    total[-1, -1] += 1.0  # without glide its rate is unknown: one sd of ln b is given
    inverse = np.linalg.inv(total)
    split = np.full(k, np.nan)
    for i in range(k - 1):
        if truth.group[i] == truth.group[i + 1]:
            split[i] = np.sqrt(inverse[i, i] + inverse[i + 1, i + 1] - 2 * inverse[i, i + 1])
    sd: Floats = np.sqrt(np.diag(inverse))
    return Bound(sd[:k], split, sd[k : 2 * k], np.asarray(inverse))
