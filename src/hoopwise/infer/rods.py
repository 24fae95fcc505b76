"""A round of taps to a reading: tension at each rod with its error bar, note and trust."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Drum, Side
from hoopwise.errors import RoundError
from hoopwise.infer.ask import ask_next
from hoopwise.infer.fit.answers import Answers, unexplained
from hoopwise.infer.fit.outliers import Stray
from hoopwise.infer.fit.rod_fit import Fit
from hoopwise.infer.head.even_head import EvenHead
from hoopwise.infer.head.prior import Belief, unseen_seat
from hoopwise.infer.round_fit import FittedRound, NoRodsError, fit_round
from hoopwise.infer.taps import heard
from hoopwise.infer.taps.identify import Identified
from hoopwise.infer.taps.places import said, where
from hoopwise.infer.taps.round_data import GroupData, group_data
from hoopwise.infer.taps.takes import TWICE, Take, Takes, TapAtRod, take_in
from hoopwise.infer.taps.together import hear_together
from hoopwise.infer.trust import ODD_SURPRISE, judge, surprise_of
from hoopwise.infer.types import OtherHead, Reading, RodReading, SecondAnswer, Trust
from hoopwise.listen.types import JointModes
from hoopwise.units import cents

FloatArray = NDArray[np.float64]

_MODEL_SD = 0.002
"""What the film model itself leaves uncertain of a deviation."""
_UNEXPLAINED = 3.0**0.5
"""How much wider they are where the fit does not explain the taps."""
_OTHER_HEAD: dict[OtherHead, float] = {"off": 1.0, "muted": 0.8, "ringing": 1.5}
"""How much wider by the other head, by the errors that simulated drums have shown: beside a muted
one the fit fears more than proves true."""
_BY_STRENGTHS = 1.6
"""How much wider where the push is modelled for so few groups, as with a soft mallet: what its
strengths leave open is more than the fit's bars say, as simulated drums have shown."""
_OVER_BEDS = 2.2
"""How much wider on a snare side: its beds are not in the model, as simulated drums have shown."""
_ROOM_WIDENS = 0.1
"""Reverberant share that makes them twice as wide, likewise: what a room does to a pair's place
and to its neighbours is not in the fit's bars."""
_ROOM_HEARD = 0.03
"""Reverberant share (an amplitude ratio) that is worth doing something about."""
_MASS_SD = 0.03
"""Film mass and air load are known this well, so tension is no better."""


@dataclass(frozen=True)
class RoundResult:
    """A reading, and what the next round builds on."""

    reading: Reading
    belief: Belief | None
    """None when the round said nothing about the rods."""
    by_itself: bool = False
    """What was believed before spoke against the round and was set aside."""
    at_odds: bool = False
    """The round is far from what was believed before, set aside or not."""


def read_round(
    drum: Drum,
    side: Side,
    taps: Sequence[TapAtRod],
    other_head: OtherHead = "off",
    belief: Belief | None = None,
) -> RoundResult:
    """Read one round of taps at the rods of one head.

    Parameters
    ----------
    drum, side
        The drum and the head that was tapped.
    taps
        (rod, samples, rate in Hz), one tap in each; any number per rod, in any order. A rod's
        number and a half stands for halfway to the next.
    other_head
        Whether the other head is off, muted or free to ring.
    belief
        What earlier rounds and turns lead to expect; None for a head not met before.

    Raises
    ------
    RoundError
        A rod is named that the drum lacks, or nothing in the round can be used.
    DrumError
        The drum has no head on that side.
    """
    drum.head(side)
    takes, joint = hear_together(take_in(taps, drum.rods), other_head)
    try:
        fitted = fit_round(drum, side, takes.usable, joint, other_head, belief)
        suspects = [i for i, take in enumerate(takes.usable) if take.suspect]
        twice = {s.tap: _why(s, drum.rods) for s in fitted.astray if s.tap in suspects}
        if fitted.astray and suspects:  # a second strike spoils the modes of all
            fewer = takes.without(twice or dict.fromkeys(suspects, TWICE))
            others, joint = hear_together(fewer, other_head)
            without = fit_round(drum, side, others.usable, joint, other_head, belief)
            # Beside one struck twice good taps may look astray; not so without it.
            if twice or not without.astray:
                takes, fitted = others, without
    except NoRodsError as error:
        return _without_rods(drum, takes, error.joint, str(error).rstrip("."))
    told = _tell(drum, side, takes, fitted, other_head)
    far = fitted.by_itself or surprise_of(fitted.answers) > ODD_SURPRISE
    return replace(told, at_odds=belief is not None and far)


def _why(suspect: Stray, rods: int) -> str:
    """What is said of a tap that sounds struck twice and does not fit its rod."""
    if suspect.nearer is None:
        return TWICE
    return f"{TWICE}, or made {where(suspect.nearer, rods)} (check the label)"


def mean_tension(head: EvenHead, groups: tuple[GroupData, ...], best: Fit) -> tuple[float, float]:
    """Mean lug tension (N/m) and its standard deviation, from the least air-bound groups."""
    share = np.array([head.film_share[head.members(g.name)[0]] for g in groups])
    weight = share**8  # the round mode carries as much air as film
    shift = float(np.sum(weight * best.point.log_shift) / weight.sum())
    spread = float(np.sqrt(np.sum(weight * (best.point.log_shift - shift) ** 2) / weight.sum()))
    value = head.tension_n_m * float(np.exp(2 * shift))
    return value, value * float(np.hypot(_MASS_SD, 2 * spread))


def _reported(result: Answers, other_head: OtherHead, side: Side) -> tuple[FloatArray, FloatArray]:
    """Deviations and covariance to report, true to what simulated drums have shown.

    Where the fit does not explain the taps its own error bars mean little: they are widened,
    and what hangs on few taps is drawn back to what is usual for a head. So they are in a room,
    with the other head on, and over snare beds, which are not in the model.
    """
    setting = result.setting
    rods = setting.head.rods
    deviation = result.best.deviation
    unseen = unseen_seat(rods) + _MODEL_SD**2 * np.eye(rods)
    far = surprise_of(result)
    usual = setting.prior.cov
    outside = _OVER_BEDS if side == "snare_side" else 1.0
    outside *= _OTHER_HEAD[other_head]
    outside *= 1.0 + max(group.room for group in setting.groups) / _ROOM_WIDENS
    if setting.strengths_are_free:
        outside *= _BY_STRENGTHS
    wider = outside
    if unexplained(result) or far >= ODD_SURPRISE:
        if unexplained(result) and (far > ODD_SURPRISE or other_head == "ringing"):
            # Neither the taps nor what went before bears it out, or nothing that is modelled.
            return setting.prior.mean, usual
        poor = max(1.0, float(np.median(setting.widen)) / 1.5, far / ODD_SURPRISE)
        wider = max(outside, _UNEXPLAINED * poor)
    deviation, cov = _heard_less(deviation, result.cov, setting.prior, wider)
    return deviation, cov + unseen


def _heard_less(
    deviation: FloatArray, cov: FloatArray, before: Belief, wider: float
) -> tuple[FloatArray, FloatArray]:
    """An answer and its covariance if what the taps told counted 1 / ``wider`` squared of it.

    What was believed before is in the answer already, and keeps its weight.
    """
    root = np.linalg.cholesky(before.cov)
    inverse = np.linalg.inv(root)
    share, axes = np.linalg.eigh(inverse @ cov @ inverse.T)
    told = np.maximum(1.0 / share - 1.0, 0.0) / wider**2
    kept = np.where(share < 1.0, 1.0 / (1.0 + told), share)
    move = np.where(share < 1.0, kept / (share * wider**2), 1.0)
    turn = root @ axes
    moved = turn @ (move * (axes.T @ inverse @ (deviation - before.mean)))
    return before.mean + moved, turn @ np.diag(kept) @ turn.T


def _tell(
    drum: Drum, side: Side, takes: Takes, fitted: FittedRound, other_head: OtherHead
) -> RoundResult:
    joint, found, result, astray = fitted.joint, fitted.found, fitted.answers, fitted.astray
    best, setting = result.best, result.setting
    deviation, cov = _reported(result, other_head, side)
    tension, tension_sd = mean_tension(setting.head, setting.groups, best)
    told = Belief(deviation, cov)
    trust = judge(result, found, setting, told, other_head, fitted.by_itself)
    sentences = [
        *takes.sentences,
        *_stray_sentences(takes, astray),
        *_room_sentences(joint),
    ]
    ask = ask_next(result, setting, takes.usable, tension, drum)
    if ask is not None:
        sentences.append(ask.sentence)
    left_out = (*takes.left_out, *(takes.usable[s.tap].index for s in astray))
    second = None
    if len(result.fits) > 1 and result.odds[1] > 0.02:
        other = result.fits[1].deviation
        second = SecondAnswer(tuple(float(d) for d in other), float(result.odds[1]))
    reading = Reading(
        rods=_rod_readings(drum, takes.usable, joint, found, deviation, cov),
        mean_tension_n_m=tension,
        mean_tension_sd_n_m=tension_sd,
        note=heard.note_of_round(joint, found.poles),
        modes=heard.modes_named(joint, found.poles),
        beats_hz=heard.beats(joint, setting.groups),
        trust=trust,
        advice=tuple(sentences),
        ask=ask,
        second_answer=second,
        deviation_cov=tuple(tuple(float(c) for c in row) for row in cov),
        contact_ms=1e3 * setting.contact_s,
        left_out=tuple(sorted(left_out)),
    )
    return RoundResult(reading, told, fitted.by_itself)


def _room_sentences(joint: JointModes) -> list[str]:
    if joint.room < _ROOM_HEARD:
        return []
    return [
        "The room is heard in these taps, which widens the error bars: put the microphone nearer "
        "to the head, or damp the room (a carpet, curtains)."
    ]


def _stray_sentences(takes: Takes, astray: tuple[Stray, ...]) -> list[str]:
    told = []
    for stray in astray:
        take = takes.usable[stray.tap]
        tap = f"Tap {take.index + 1} {where(take.place, takes.rods)}"
        again = f"tap {said(take.place, takes.rods)} again."
        if stray.nearer is None:
            told.append(f"{tap} does not fit the others and was left out; {again}")
        else:
            near = said(stray.nearer, takes.rods)
            told.append(f"{tap} sounds like {near} and was left out; check the label or {again}")
    return told


def _rod_readings(
    drum: Drum,
    usable: tuple[Take, ...],
    joint: JointModes,
    found: Identified,
    deviation: FloatArray,
    cov: FloatArray,
) -> tuple[RodReading, ...]:
    places = np.array([t.place for t in usable])
    low, ring = _heard(joint, found)
    mean_low = float(np.mean(low)) if low is not None else 0.0
    readings = []
    for rod in range(1, drum.rods + 1):
        mine = places == rod
        here = bool(mine.any())
        low_here = float(low[mine].mean()) if low is not None and here else None
        ring_here = float(np.median(ring[mine])) if here else None
        readings.append(
            RodReading(
                rod=rod,
                deviation=float(deviation[rod - 1]),
                deviation_sd=float(np.sqrt(cov[rod - 1, rod - 1])),
                taps=int(mine.sum()),
                heard_low_hz=low_here,
                heard_low_cents=cents(low_here, mean_low) if low_here else None,
                heard_ring_hz=ring_here if ring_here is None or np.isfinite(ring_here) else None,
            )
        )
    return tuple(readings)


def _heard(joint: JointModes, found: Identified) -> tuple[FloatArray | None, FloatArray]:
    pair = found.poles.get((1, 1))
    if pair is None:
        return None, heard.edge_ring(joint, float(joint.frequency_hz[0]))
    low = heard.low_pitch(joint, group_data(joint, (1, 1), pair))
    return low, heard.edge_ring(joint, float(low.mean()))


def _without_rods(drum: Drum, takes: Takes, joint: JointModes, why: str) -> RoundResult:
    """What is still known when the rods cannot be told apart: note and modes."""
    unknown = float("inf")
    taps = [t.place for t in takes.usable]
    low = joint.frequency_hz[0] if len(joint.frequency_hz) else None
    if low is None:
        raise RoundError(f"No tap of this round rings in a way that can be read: {why}.")
    reading = Reading(
        rods=tuple(
            RodReading(rod, 0.0, unknown, taps.count(rod)) for rod in range(1, drum.rods + 1)
        ),
        mean_tension_n_m=float("nan"),
        mean_tension_sd_n_m=float("nan"),
        note=heard.note_of_round(joint, {}),
        modes=heard.modes_named(joint, {}),
        beats_hz=(),
        trust=Trust("none", (f"The rods cannot be told apart: {why[:1].lower()}{why[1:]}.",), 0.0),
        advice=(*takes.sentences, *_room_sentences(joint)),
        left_out=takes.left_out,
    )
    return RoundResult(reading, None)
