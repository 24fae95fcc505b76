"""From deviations to turns: the fewest hand-sized steps that leave the head evenest.

The lug tensions answer linearly to the rods (acoustics.stretch). Chosen are the turns in
whole steps of a hand with the least expected unevenness after them, counting what a hand
misses on every rod that it touches; so a rod that is near enough is left alone. The sum of
the turns is kept unless another mean tension is asked for.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.limits import film_limit_n_m
from hoopwise.acoustics.low_note import SLACK
from hoopwise.acoustics.stretch import RimMap, even_pull
from hoopwise.drum import Film, safe_tension_n_m
from hoopwise.errors import SafetyError
from hoopwise.infer.head.prior import Belief
from hoopwise.plan.order import working_order
from hoopwise.plan.types import TurnPlan

FloatArray = NDArray[np.float64]

STEP = 1.0 / 64.0
"""Smallest turn that a hand makes on purpose (5.6 degrees)."""
HAND_SHARE = 0.10
HAND_SLOP = 1.0 / 128.0
"""What a hand misses: a share of the turn, and a slop of up to this many turns."""
EVEN_ENOUGH = 0.015
"""Deviations below this are not worth a turn."""
_UNSURE = 0.75
"""Nor are those below this many standard deviations, if all are.

The mean already leans to an even head by as much as the taps leave open: wider bands, such
as 1.5, left heads 4 % uneven whose reading was right to 1.5 %.
"""
THIN_FILM_M = 100e-6
_LARGEST = 0.5
_LARGEST_THIN = 0.25
_NO_GAIN = 3.0
"""A gain this many standard deviations from the one expected is none."""
_FINGER_TIGHT = 0.10
"""Share of the mean rod force below which a rod counts as finger-tight or looser.

So does a rod with the force at which an even head wrinkles (`low_note.SLACK`).
"""
_KEEP_MEAN = 0.25
"""Weight of a mean that drifts from where it should come, against that of unevenness."""
_DRIFT = 0.01
_BEYOND = 4.0
"""What the mean drifts beyond this share weighs more: a note moved is a note to fetch back."""


@dataclass(frozen=True)
class Gain:
    """Share of a turn that arrives as tension, against the model."""

    value: float = 1.0
    sd: float = 0.25


@dataclass(frozen=True)
class Response:
    """How N lug tensions answer turns at a mean tension."""

    rim: RimMap
    pitch_m: float
    tension_n_m: float
    gain: Gain

    @property
    def full(self) -> FloatArray:
        """(N, N) change of lug tension over the mean tension, per turn of each rod."""
        return self.rim.lug_tension * (self.gain.value * self.pitch_m / self.tension_n_m)

    @property
    def uneven(self) -> FloatArray:
        """(N, N) the same less its mean over the lugs."""
        return np.asarray(self.full - self.full.mean(axis=0))


def after_turns(response: Response, belief: Belief, turns: FloatArray) -> Belief:
    """Belief about the deviations once the turns are made by a hand."""
    a = response.uneven
    brought = a @ turns
    scale = 1.0 + float((response.full @ turns).mean())
    turned = np.asarray(turns != 0.0)
    hand = np.where(turned, (HAND_SHARE * turns) ** 2 + HAND_SLOP**2 / 3.0, 0.0)
    unsure = response.gain.sd / response.gain.value
    cov = belief.cov + (a * hand) @ a.T + unsure**2 * np.outer(brought, brought)
    return Belief((belief.mean + brought) / scale, cov / scale**2)


def learned_gain(response: Response, before: Belief, turns: FloatArray, now: Belief) -> Gain | None:
    """The gain after comparing what the turns brought with what they should.

    None where they brought what no gain that is to be expected explains: then the turns were
    others, or one of the two readings is wrong.

    ``now`` is the belief after a round that was read with ``after_turns`` as its prior;
    that prior is taken out again before the comparison.
    """
    a = response.uneven / response.gain.value
    unit = a @ turns
    expected = after_turns(response, before, turns)
    told = now.precision - expected.precision
    told = 0.5 * (told + told.T)
    values, vectors = np.linalg.eigh(told)
    good = values > 1e-3 * max(values.max(), 1e-9)
    seen = vectors[:, good]
    heard = seen.T @ (now.precision @ now.mean - expected.precision @ expected.mean)
    heard = heard / values[good]
    hand = np.where(turns != 0.0, (HAND_SHARE * turns) ** 2 + HAND_SLOP**2 / 3.0, 0.0)
    noise = seen.T @ (before.cov + (a * hand) @ a.T) @ seen + np.diag(1.0 / values[good])
    slope, change = seen.T @ unit, heard - seen.T @ before.mean
    weight = np.linalg.solve(noise, slope)
    alone, variance = float(weight @ change / (weight @ slope)), float(1.0 / (weight @ slope))
    if abs(alone - response.gain.value) > _NO_GAIN * np.sqrt(variance + response.gain.sd**2):
        return None
    precision = float(weight @ slope) + response.gain.sd**-2
    value = (float(weight @ change) + response.gain.value * response.gain.sd**-2) / precision
    return Gain(float(np.clip(value, 0.2, 2.0)), max(float(precision**-0.5), 0.05))


def plan_turns(
    response: Response,
    belief: Belief,
    note_hz: float,
    film: Film,
    wanted_tension_n_m: float | None = None,
) -> TurnPlan:
    """Turns that make the head even, and bring it to a mean tension if one is asked for.

    Raises
    ------
    SafetyError
        The head is, or would come, beyond the stress at which advice is refused.
    """
    ratio = (wanted_tension_n_m or response.tension_n_m) / response.tension_n_m
    sd = np.sqrt(np.diag(belief.cov))
    near = bool(np.all(np.abs(belief.mean) <= np.maximum(EVEN_ENOUGH, _UNSURE * sd)))
    if near and abs(ratio - 1.0) < EVEN_ENOUGH:
        turns = np.zeros(len(sd))
    else:
        largest = _LARGEST_THIN if film.thickness_m < THIN_FILM_M else _LARGEST
        turns = _steps(response, belief.mean, ratio - 1.0, largest)
    turns, held = _above_finger_tight(response, belief, film, turns)
    return _plan(response, belief, note_hz, film, turns, held)


def trial_plan(
    response: Response, belief: Belief, note_hz: float, film: Film, rod: int, turn: float
) -> TurnPlan:
    """One rod turned by a known bit, ``+`` tightens, so that two answers part.

    Raises
    ------
    SafetyError
        As `plan_turns`.
    """
    turns = np.zeros(len(belief.mean))
    turns[rod - 1] = turn
    return _plan(response, belief, note_hz, film, turns, [])


def _plan(
    response: Response,
    belief: Belief,
    note_hz: float,
    film: Film,
    turns: FloatArray,
    held: list[str],
) -> TurnPlan:
    """Turns with what they should bring, guarded."""
    after = after_turns(response, belief, turns)
    tension = response.tension_n_m * (1.0 + float((response.full @ turns).mean()))
    level, cautions = guard(tension * (1.0 + after.mean), film)
    return TurnPlan(
        rods=tuple(float(t) for t in turns),
        order=working_order(turns.tolist()),
        expected=tuple(float(d) for d in after.mean),
        expected_sd=tuple(float(s) for s in np.sqrt(np.diag(after.cov))),
        expected_mean_tension_n_m=tension,
        expected_note_hz=note_hz * float(np.sqrt(tension / response.tension_n_m)),
        safety=level,
        sentences=(*held, *cautions),
    )


def _steps(response: Response, deviation: FloatArray, rise: float, largest: float) -> FloatArray:
    """Whole hand steps with the least expected unevenness.

    A local search from the best unrounded turns; unevenness is counted after the mean has
    come where it should.
    """
    a, each = response.uneven, float(response.full.mean())
    weight = np.sum(a**2, axis=0)
    rods = len(deviation)
    # A wider pass than the hand may make is brought down as a whole, evenness first.
    total = float(np.clip(rise / each, -rods * largest, rods * largest)) / rods
    ridge = np.diag(HAND_SHARE**2 * weight)
    pull = _KEEP_MEAN * rods * each**2 * np.ones((rods, rods)) * rods
    bare = np.linalg.solve(a.T @ a + ridge + pull, -a.T @ deviation)
    counts = np.round(np.clip(bare + total, -largest, largest) / STEP).astype(int)
    limit = int(largest / STEP)

    def cost(steps: NDArray[np.int_]) -> float:
        t = steps * STEP
        left = deviation + a @ t
        slop = np.sum(weight[steps != 0]) * HAND_SLOP**2 / 3.0
        mean_off = abs(each * (t.mean() - total) * rods)
        share = HAND_SHARE**2 * float(weight @ (t - total) ** 2)
        drift = _KEEP_MEAN * mean_off**2 + _BEYOND * max(mean_off - _DRIFT, 0.0) ** 2
        return float(left @ left + share + slop + rods * drift)

    best = cost(counts)
    for _ in range(200):
        trials = [t for t in _neighbours(counts) if np.abs(t).max() <= limit]
        costs = [cost(t) for t in trials]
        low = int(np.argmin(costs))
        if costs[low] >= best - 1e-12:
            break
        counts, best = trials[low], costs[low]
    return np.asarray(counts * STEP, dtype=np.float64)


def _neighbours(counts: NDArray[np.int_]) -> list[NDArray[np.int_]]:
    """One step more or less on a rod, from one rod to another, or a rod left alone."""
    rods = len(counts)
    unit = np.eye(rods, dtype=int)
    near = [counts + s * unit[i] for i in range(rods) for s in (-1, 1)]
    near += [counts + unit[i] - unit[j] for i in range(rods) for j in range(rods) if i != j]
    near += [np.where(unit[i] == 1, 0, counts) for i in range(rods) if counts[i]]
    return near


def _above_finger_tight(
    response: Response, belief: Belief, film: Film, turns: FloatArray
) -> tuple[FloatArray, list[str]]:
    """Turns held back where a rod would come loose, and a sentence for each."""
    rim = response.rim
    lug = response.tension_n_m * (1.0 + belief.mean)
    pulls = np.linalg.lstsq(rim.lug_tension, lug, rcond=0.05)[0]
    slack = float((rim.rod_force @ even_pull(rim, SLACK * film_limit_n_m(film))).mean())
    held = []
    turns = turns.copy()
    for _ in range(len(turns)):
        force = rim.rod_force @ (pulls + turns * response.pitch_m * response.gain.value)
        floor = max(_FINGER_TIGHT * float(force.mean()), slack)
        loose = [i for i in np.argsort(force) if force[i] < floor and turns[i] < 0]
        if not loose:
            break
        turns[loose[0]] = 0.0
        held.append(f"Rod {loose[0] + 1} is near finger-tight already and is not loosened further.")
    return turns, held


def guard(lug_tension_n_m: FloatArray, film: Film) -> tuple[Literal["ok", "warn"], list[str]]:
    """Whether the film bears the tension: ``ok`` or ``warn`` with its sentence.

    Raises
    ------
    SafetyError
        A lug would be beyond the tension at which advice is refused.
    """
    warn, refuse = safe_tension_n_m(film)
    highest = float(lug_tension_n_m.max())
    rod = int(lug_tension_n_m.argmax()) + 1
    share = 100 * highest / safe_tension_n_m(film)[1] * 0.7
    if highest > refuse:
        raise SafetyError(
            f"No turns are advised: the film at rod {rod} would be at {share:.0f} % of the stress "
            "at which polyester film has stretched by 5 % (advice stops at 70 %). Loosen all rods "
            "in star order first. This is a figure for the film, not a maker's rating of the head."
        )
    if highest > warn:
        return "warn", [
            f"The film at rod {rod} is at {share:.0f} % of the stress at which polyester film has "
            "stretched by 5 %: small steps, and stop if a rod feels hard."
        ]
    return "ok", []
