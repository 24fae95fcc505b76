"""How many poles: weak ones dropped, unresolved pairs split, the glide's satellites removed.

A single pole in place of a close pair leaves, in each tap, a remainder along the pole's
derivative with a free complex factor. The projected normal equations hold that remainder,
so the test for a hidden partner costs nothing: its sum over taps is chi-squared with two
degrees of freedom a tap if the mode is alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.joint.data import Floats, Round
from hoopwise.listen.joint.own import own_evidence
from hoopwise.listen.joint.poles import FASTEST, Poles
from hoopwise.listen.joint.refine import Fit, Prior, glide_prior, keep_poles, refine
from hoopwise.listen.joint.room import RAGGED, room_answer
from hoopwise.listen.joint.tap import normals

MISFIT = 0.003
"""Share of a mode's amplitude that the model may miss before it counts as evidence."""
MISFIT_HZ = 10.0
WEAK_SIGMAS = 5.0
"""A mode must stand this far above chance, in sd of the chi-squared sum over taps."""
SPLIT_SIGMAS = 3.7
SLOWEST = 0.7
SATELLITE_DECAY = 2.0
INNER_DECAY = 1.3
INNER_SHARE = 0.007
"""A glide that is not common bends a line by less than this share of its decay (Hz)."""
SATELLITE_DB = 8.0
ROUNDS = 3
SPLITS = 2
SURE_SPLIT_SD = 3.0


@dataclass(frozen=True)
class Noise:
    """Noise power (T, K) near each mode, over the noise power assumed in the fit."""

    ratio: Floats


def local_noise(data: Round, fit: Fit) -> Noise:
    """Residual power near each mode over the assumed, shrunk towards the mean of the taps."""
    left = np.zeros_like(data.samples)
    for row, tap in zip(left, fit.taps, strict=True):
        row[: len(tap.residual)] = tap.residual
    spectrum = np.abs(np.fft.rfft(left, axis=1)) ** 2 / data.lengths[:, None]
    grid = np.fft.rfftfreq(left.shape[1], 1 / data.rate_hz)
    ratio = np.empty((data.taps, len(fit.poles.frequency_hz)))
    for k, (f, a) in enumerate(zip(fit.poles.frequency_hz, fit.poles.decay_per_s, strict=True)):
        reach = np.clip(3 * a / (2 * np.pi), 8.0, 25.0)
        near = np.abs(grid - f) < reach
        inside = np.abs(fit.poles.frequency_hz - f) < reach
        taken = float(np.sum(inside)) * 1.1
        count = max(near.sum() - taken, 2.0)
        own = spectrum[:, near].sum(axis=1) / count
        shared = own.mean()
        ratio[:, k] = (count * own + 20 * shared) / (count + 20)
    return Noise(np.maximum(ratio, 0.25))


def counted_noise(data: Round, fit: Fit) -> Noise:
    """The noise that a pole must stand out of to count: the local one and the room."""
    return with_room(data, fit, local_noise(data, fit))


def with_room(data: Round, fit: Fit, noise: Noise) -> Noise:
    """Noise and what the room may answer."""
    return Noise(noise.ratio + RAGGED * room_answer(data, fit))


def evidence(fit: Fit, noise: Noise, scale: Floats) -> Floats:
    """(K,) sds by which each mode's amplitudes over all taps exceed chance."""
    count = len(fit.poles.frequency_hz)
    total = np.zeros(count)
    for tap, ratio, sigma in zip(fit.taps, noise.ratio, scale, strict=True):
        variance = tap.gram_inverse.diagonal().reshape(2, count).sum(axis=0) / 2
        total += np.abs(tap.amplitude / sigma) ** 2 / (variance * ratio)
    taps = len(fit.taps)
    return np.asarray((total - 2 * taps) / np.sqrt(4 * taps))


def hidden_partner(fit: Fit, noise: Noise, scale: Floats, prior: Prior) -> tuple[Floats, Floats]:
    """(K,) sds of evidence for an unresolved partner, and (K,) rms frequency shift over taps."""
    count, taps = len(fit.poles.frequency_hz), len(fit.taps)
    _, spread = glide_prior(fit.poles, prior)
    total, shift, weight = np.zeros(count), np.zeros(count), np.zeros(count)
    own = normals(fit.taps)
    for tap, at_it, ratio, sigma, width in zip(
        fit.taps, own, noise.ratio, scale, spread, strict=True
    ):
        last = at_it.curve[-1]
        stiff = last[-1] + width**-2
        slope = at_it.slope - last * at_it.slope[-1] / stiff
        curve = at_it.curve - np.outer(last, last) / stiff
        power = np.abs(tap.amplitude / sigma) ** 2
        energy = power / (tap.gram_inverse.diagonal()[:count] + 1e-300)
        at = np.arange(count)
        ff, fa = curve[at, at] * (1 + 1e-9), curve[at, count + at]
        aa = curve[count + at, count + at] * (1 + 1e-9)
        det = ff * aa - fa**2 + 1e-300
        by_f, by_a = slope[:count], slope[count : 2 * count]
        move = (aa * by_f - fa * by_a) / det
        gain = move * by_f + (ff * by_a - fa * by_f) / det * by_a
        total += np.maximum(gain - MISFIT**2 * energy, 0.0) / ratio
        shift += power * np.maximum(move**2 - ratio * aa / det, 0.0)
        weight += power
    sigmas = (total - 2 * taps) / np.sqrt(4 * taps)
    return np.asarray(sigmas), np.sqrt(shift / weight)


def satellites(fit: Fit) -> NDArray[np.bool_]:
    """(K,) poles that only mend the model beside a stronger mode.

    Either faster and weaker, as the glide's own misfit is, or too weak to be told from
    any misfit. One that hardly bends the line of its neighbour need be only a little faster.
    """
    f, a = fit.poles.frequency_hz, fit.poles.decay_per_s
    level = np.mean([np.abs(tap.amplitude) ** 2 for tap in fit.taps], axis=0)
    bad = np.zeros(len(f), dtype=bool)
    for k in range(len(f)):
        away = np.abs(f - f[k])
        close = away < np.maximum(2.0, a[k] / np.pi)
        louder = level > level[k] * 10 ** (SATELLITE_DB / 10)
        inner = np.sqrt(level[k] / level) * away < INNER_SHARE * a
        mends = close & louder & (a[k] > np.where(inner, INNER_DECAY, SATELLITE_DECAY) * a)
        faint = (away < MISFIT_HZ) & (level * MISFIT**2 > level[k])
        bad[k] = bool(np.any(mends | faint))
    return bad


def poor(data: Round, fit: Fit) -> NDArray[np.bool_]:
    """(K,) poles that chance or a satellite explains, or no mode of a head could have.

    Two poles in the place of one rob each other of their evidence: the louder stays until it
    is judged alone.
    """
    noise = local_noise(data, fit)
    weak = evidence(fit, with_room(data, fit, noise), fit.scale) < WEAK_SIGMAS
    if weak.any():
        weak &= own_evidence(data, fit, noise.ratio) < WEAK_SIGMAS
    wild = (fit.poles.decay_per_s > FASTEST) | (fit.poles.decay_per_s < SLOWEST)
    drop = weak | wild | satellites(fit)
    f, a = fit.poles.frequency_hz, fit.poles.decay_per_s
    level = np.mean([np.abs(tap.amplitude) ** 2 for tap in fit.taps], axis=0)
    for k in np.flatnonzero(drop & ~wild):
        beside = np.abs(f - f[k]) < np.maximum(2.0, a[k] / np.pi)
        beside[k] = False
        if beside.any() and drop[beside].all() and level[k] > level[beside].max():
            drop[k] = False
    return np.asarray(drop)


def drop_poor(data: Round, fit: Fit) -> Poles:
    """The poles that stand the tests, not refitted."""
    drop = poor(data, fit)
    return fit.poles if drop.all() else keep_poles(fit.poles, ~drop)


def prune(data: Round, fit: Fit, scale: Floats, prior: Prior, rounds: int = ROUNDS) -> Fit:
    """Drop poor poles, refit, until none is left to drop."""
    for _ in range(rounds):
        drop = poor(data, fit)
        if not drop.any() or drop.all():
            break
        fit = refine(data, keep_poles(fit.poles, ~drop), scale, prior, passes=4, settle=0.5)
    return fit


def split(data: Round, fit: Fit, scale: Floats, prior: Prior) -> Fit:
    """Give a partner to each pole that hides one, clearest cases first; drop what fails.

    A hidden pair disturbs its neighbours' tests, so that only poles with at least half of
    the strongest evidence are split at a time.
    """
    tried: list[float] = []
    for _ in range(SPLITS):
        sigmas, shift = hidden_partner(fit, counted_noise(data, fit), scale, prior)
        f = fit.poles.frequency_hz
        fresh = np.array([all(abs(x - old) > 0.05 for old in tried) for x in f])
        sigmas = np.where(fresh, sigmas, 0.0)
        chosen = np.flatnonzero(sigmas > max(SPLIT_SIGMAS, 0.4 * sigmas.max()))
        if not len(chosen):
            break
        tried += [float(f[k]) for k in chosen]
        wider = refine(data, _doubled(fit.poles, chosen, shift), scale, prior, passes=6, settle=0.5)
        wider = prune(data, wider, scale, prior)
        if wider.cost < fit.cost:
            fit = wider
    return fit


def merge(data: Round, fit: Fit, scale: Floats, prior: Prior) -> Fit:
    """Join pairs closer than three standard deviations if one pole explains them as well.

    All at once if that holds; else one by one, the most doubtful first, because one pair
    joined wrongly disturbs the tests of the others.
    """
    doubtful = _doubtful(fit)
    if len(doubtful) > 1:
        single = _if_alone(data, fit, doubtful, scale, prior)
        if single is not None:
            return single
    for low_hz in fit.poles.frequency_hz[doubtful]:
        k = int(np.argmin(np.abs(fit.poles.frequency_hz[:-1] - low_hz)))
        fit = _if_alone(data, fit, np.array([k]), scale, prior) or fit
    return fit


def _if_alone(
    data: Round, fit: Fit, which: NDArray[np.intp], scale: Floats, prior: Prior
) -> Fit | None:
    """The fit with pairs joined; None if one of them then shows a hidden partner."""
    single = refine(data, _joined(fit, which), scale, prior, passes=4, settle=1.0)
    sigmas, _ = hidden_partner(single, counted_noise(data, single), scale, prior)
    # each pair joined moves those above it down by one
    at = np.sort(which) - np.arange(len(which))
    return single if bool(np.all(sigmas[at] < SPLIT_SIGMAS)) else None


def _doubtful(fit: Fit) -> NDArray[np.intp]:
    """Lower poles of the pairs that may be one, most doubtful first, none sharing a pole."""
    count = len(fit.poles.frequency_hz)
    cov = np.linalg.inv(fit.curve)
    own = np.diag(cov)[:count]
    off = np.diag(cov, 1)[: count - 1]
    variance = np.maximum(own[:-1] + own[1:] - 2 * off, 0.0)
    ratio = np.diff(fit.poles.frequency_hz) / np.sqrt(variance + 1e-300)
    chosen: list[int] = []
    for k in np.argsort(ratio):
        if ratio[k] < SURE_SPLIT_SD and not {k - 1, k + 1} & set(chosen):
            chosen.append(int(k))
    return np.array(chosen, dtype=np.intp)


def _joined(fit: Fit, which: NDArray[np.intp]) -> Poles:
    """Poles with each of ``which`` and the next replaced by their mean, weighted by power."""
    f, a = fit.poles.frequency_hz.copy(), fit.poles.decay_per_s.copy()
    power = np.mean([np.abs(tap.amplitude) ** 2 for tap in fit.taps], axis=0)
    for k in which:
        share = power[k : k + 2] / power[k : k + 2].sum()
        f[k], a[k] = share @ f[k : k + 2], share @ a[k : k + 2]
    gone = which + 1
    return Poles(np.delete(f, gone), np.delete(a, gone), fit.poles.glide, fit.poles.glide_rate)


def _doubled(poles: Poles, chosen: NDArray[np.intp], shift: Floats) -> Poles:
    """Poles with each chosen one replaced by two, a typical shift to either side."""
    f, a = poles.frequency_hz, poles.decay_per_s
    apart = np.clip(shift[chosen], 0.02, 3.0)
    f = np.concatenate([np.delete(f, chosen), f[chosen] - apart, f[chosen] + apart])
    a = np.concatenate([np.delete(a, chosen), a[chosen], a[chosen]])
    order = np.argsort(f)
    return Poles(f[order], a[order], poles.glide, poles.glide_rate)
