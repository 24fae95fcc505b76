"""One tap's share of the joint fit: its amplitudes, and its part of the normal equations.

The modes themselves are in single precision, 1e-7 of a mode and far below the noise of any
microphone; amplitudes and slopes, which close pairs make hard, are solved in double.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.glide import settling, settling_slope
from hoopwise.listen.joint.data import Floats, Round
from hoopwise.listen.joint.poles import Complexes, Poles

Singles = NDArray[np.float32]


@dataclass(frozen=True)
class Waves:
    """What the modes of all taps have in common at one set of poles."""

    times_s: Floats
    real: Singles
    """(K, N) modes without glide; decay from the first time, phase from the onset."""
    imag: Singles
    settling_s: Floats
    """(N,) extra phase time of a unit glide."""
    settling_slope_s: Floats
    """(N,) its derivative by ln b."""

    @classmethod
    def at(cls, times_s: Floats, poles: Poles) -> "Waves":
        """Waves on an even grid of times, built from products of two short tables."""
        rate = 2j * np.pi * poles.frequency_hz - poles.decay_per_s
        block, step = 64, times_s[1] - times_s[0]
        fine = np.exp(rate[:, None] * (np.arange(block) * step))
        coarse = np.exp(rate[:, None] * (np.arange(0, len(times_s), block) * step))
        coarse *= np.exp(2j * np.pi * poles.frequency_hz * times_s[0])[:, None]
        wave = (coarse[:, :, None] * fine[:, None, :]).reshape(len(rate), -1)[:, : len(times_s)]
        return cls(
            times_s,
            wave.real.astype(np.float32),
            wave.imag.astype(np.float32),
            settling(times_s, poles.glide_rate),
            settling_slope(times_s, poles.glide_rate),
        )

    def basis(self, poles: Poles, glide: float, count: int, out: Singles) -> None:
        """Rows Re and -Im of one tap's modes, first ``count`` samples, into ``out`` (2K, n)."""
        k = len(self.real)
        real, imag = self.real[:, :count], self.imag[:, :count]
        turn = (2 * np.pi * glide * poles.frequency_hz).astype(np.float32)
        # a glide turns a mode by a few radians at most
        phase = turn[:, None] * self.settling_s[:count].astype(np.float32)
        cos, sin = np.cos(phase), np.sin(phase)
        np.multiply(real, cos, out=out[:k])
        out[:k] -= np.multiply(imag, sin, out=phase)
        sin *= real
        cos *= imag
        np.add(sin, cos, out=out[k:])
        np.negative(out[k:], out=out[k:])


@dataclass(frozen=True, eq=False)
class Normal:
    """One tap's part of the normal equations, in units of its own noise."""

    slope: Floats
    """(2K + 2,) projected Jacobian times residual: f, ln a, ln b, g."""
    curve: Floats
    """(2K + 2, 2K + 2) projected J'J."""
    drag: Floats
    """(2K, 2K + 2) change of the amplitudes with each parameter."""


@dataclass(frozen=True, eq=False)
class TapFit:
    """One tap at one set of poles; its slopes are worked out when they are first asked for."""

    poles: Poles
    waves: Waves
    glide: float
    rows: Singles
    """(2K, n) Re and -Im of the modes."""
    size: Floats
    """(2K,) Re and Im of the amplitudes over the noise rms."""
    amplitude: Complexes
    """(K,) at the window's start in decay, at the onset in phase."""
    gram_inverse: Floats
    """(2K, 2K) covariance of (Re A, Im A) at unit noise, poles and glide given."""
    residual: Floats
    """(n,) what is left of the samples, over the noise rms."""

    @cached_property
    def square(self) -> float:
        """Sum of squared residuals over noise variance."""
        return float(self.residual @ self.residual)

    @cached_property
    def normal(self) -> Normal:
        """Its part of the normal equations."""
        rows = self.rows
        bare = _derivatives(self.poles, self.waves, self.glide, self.size, rows)
        cross = np.asarray(bare @ rows.T, dtype=np.float64)
        drag = self.gram_inverse @ cross.T
        # projected before it is squared: a close pair leaves so little that single precision
        # would not survive the difference of two squares
        bare -= drag.T.astype(np.float32) @ rows
        return Normal(
            slope=_slope(self.poles, self.waves, self.glide, self.size, rows, self.residual),
            curve=np.asarray(bare @ bare.T, dtype=np.float64),
            drag=drag,
        )


def fit_tap(data: Round, poles: Poles, waves: Waves, index: int, scale: float) -> TapFit:
    """Amplitudes and residual of one tap; ``scale`` is its noise rms."""
    n, count = int(data.lengths[index]), len(poles.frequency_hz)
    g = float(poles.glide[index])
    rows = np.empty((2 * count, n), dtype=np.float32)
    waves.basis(poles, g, n, rows)
    basis = rows.astype(np.float64)  # amplitudes of close pairs need the digits
    y = data.samples[index, :n] / scale
    gram = basis @ basis.T
    gram.flat[:: 2 * count + 1] *= 1 + 1e-9
    inverse = np.linalg.inv(gram)
    c = inverse @ (basis @ y)
    return TapFit(
        poles=poles,
        waves=waves,
        glide=g,
        rows=rows,
        size=c,
        amplitude=np.asarray((c[:count] + 1j * c[count:]) * scale),
        gram_inverse=np.asarray(inverse),
        residual=y - c @ basis,
    )


def _derivatives(poles: Poles, waves: Waves, glide: float, c: Floats, basis: Singles) -> Singles:
    """(2K + 2, n) derivatives of the model by f, ln a, ln b and the glide."""
    n, count = basis.shape[1], len(poles.frequency_hz)
    out = np.empty((2 * count + 2, n), dtype=np.float32)
    re, im, by_f, by_a = basis[:count], basis[count:], out[:count], out[count:-2]
    t, u = waves.times_s[:n], waves.settling_s[:n]
    x, v = (part.astype(np.float32)[:, None] for part in (c[:count], c[count:]))
    decay = poles.decay_per_s.astype(np.float32)[:, None]
    np.multiply(re, v, out=by_f)
    by_f -= np.multiply(im, x, out=by_a)  # the imaginary part of each mode: im is its negative
    turn = (-2 * np.pi * poles.frequency_hz).astype(np.float32) @ by_f
    by_f *= (-2 * np.pi * (t + glide * u)).astype(np.float32)
    np.multiply(re, -decay * x, out=by_a)
    by_a -= (decay * v) * im
    by_a *= (t - t[0]).astype(np.float32)
    out[-2] = turn * (glide * waves.settling_slope_s[:n])
    out[-1] = turn * u
    return out


def _slope(
    poles: Poles, waves: Waves, glide: float, c: Floats, basis: Singles, residual: Floats
) -> Floats:
    """(2K + 2,) what ``_derivatives`` gives times the residual, in double precision.

    It decides where the fit comes to rest; projection changes nothing, as the residual is
    orthogonal to the basis.
    """
    n, count = len(residual), len(poles.frequency_hz)
    t, u = waves.times_s[:n], waves.settling_s[:n]
    clocks = np.stack([t + glide * u, t - t[0], glide * waves.settling_slope_s[:n], u])
    sums = (clocks * residual) @ basis.astype(np.float64).T
    re, im, x, v = sums[:, :count], sums[:, count:], c[:count], c[count:]
    by_turn = -2 * np.pi * (v * re - x * im)
    by_a = -poles.decay_per_s * (x * re[1] + v * im[1])
    by_clock = by_turn[2:] @ poles.frequency_hz
    return np.concatenate([by_turn[0], by_a, by_clock])


def all_taps(data: Round, poles: Poles, waves: Waves, scale: Floats) -> tuple[TapFit, ...]:
    """``fit_tap`` of every tap."""
    return tuple(fit_tap(data, poles, waves, i, float(scale[i])) for i in range(data.taps))


def normals(taps: Sequence[TapFit]) -> list[Normal]:
    """All taps' parts of the normal equations."""
    return [tap.normal for tap in taps]
