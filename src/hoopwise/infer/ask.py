"""What to do next to know more: one more tap, a small turn, a harder tip, taps halfway."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Drum
from hoopwise.infer.fit.answers import Answers, unexplained
from hoopwise.infer.fit.one_tap import information_of_tap
from hoopwise.infer.fit.rod_fit import covariance_at
from hoopwise.infer.fit.rod_state import Point, Setting, picked
from hoopwise.infer.fit.rod_system import states_at
from hoopwise.infer.fit.tip import HARD_STICK_S, KNOWN_TO, push
from hoopwise.infer.taps.places import at_rod
from hoopwise.infer.taps.takes import Take
from hoopwise.infer.trust import RIVAL_ODDS, SURE_SD
from hoopwise.infer.types import Ask

FloatArray = NDArray[np.float64]

_PARTS = (16, 32, 64)
"""A trial turn is one of these parts of a turn: the largest that moves its rod ..."""
_SMALL = 0.06
"""... by no more than this share of the mean tension."""
_WORTH = 0.75
"""A further tap is worth asking for when it brings a rod's error bar to this share."""
_WORTH_ANOTHER = 0.7
"""So is another tip, when it brings all error bars to this."""
_WORTH_HALFWAY = 0.9
"""Tapping halfway between the rods too costs nothing: it is worth asking for at this, ..."""
_HALFWAY_ALONE = 0.8
"""... and where no harder tip is asked for at this."""
_NOT_HARD = 1.2
"""A contact this many times as long is not a hard stick's."""


def ask_next(
    result: Answers, setting: Setting, usable: tuple[Take, ...], tension: float, drum: Drum
) -> Ask | None:
    """The one tap, trial turn or way to tap that tells the most, or None when enough is known."""
    if len(result.odds) > 1 and result.odds[1] > RIVAL_ODDS:
        return _trial_turn(result, setting, tension, drum)
    if float(np.sqrt(np.diag(result.best.cov)).mean()) < 0.5 * SURE_SD:
        return None
    further = _further_tap(result, setting, usable)
    if further is not None and not _near(usable, further.rod, drum.rods):
        return further
    return _another_way(result, usable, drum.rods) or further


def _trial_turn(result: Answers, setting: Setting, tension: float, drum: Drum) -> Ask:
    """The rod whose small turn changes the modes most differently under the two answers."""
    head = setting.head
    per_turn = head.model.rim.lug_tension * drum.thread_pitch_m / tension
    per_turn = per_turn - per_turn.mean(axis=0)
    parts = next((p for p in _PARTS if np.abs(np.diag(per_turn)).max() / p <= _SMALL), _PARTS[-1])
    told = np.zeros(head.rods)
    for rod in range(head.rods):
        change = per_turn[:, rod] / parts
        moved = [_moved_hz(setting, answer.point, change) for answer in result.fits[:2]]
        told[rod] = float(np.sum((moved[0] - moved[1]) ** 2))
    rod = int(np.argmax(told)) + 1
    slack = result.best.deviation[rod - 1] < 0
    word = "Tighten" if slack else "Loosen"
    return Ask(
        "trial turn",
        rod,
        1.0 / parts if slack else -1.0 / parts,
        f"{word} rod {rod} by 1/{parts} turn and tap the round again: "
        "that decides which answer is true.",
    )


def _moved_hz(setting: Setting, point: Point, change: FloatArray) -> FloatArray:
    """How far each mode's frequency would move if the deviations changed."""
    before = states_at(setting, point)
    uneven = point.uneven.copy()
    uneven[: len(change)] += change
    after = states_at(setting, replace(point, uneven=uneven))
    moved = (after.frequency_hz - before.frequency_hz)[setting.heads.real > 0]
    return np.asarray(moved)


def _further_tap(result: Answers, setting: Setting, usable: tuple[Take, ...]) -> Ask | None:
    """The rod where one more tap takes most from the summed error bars."""
    head = setting.head
    now = np.linalg.inv(result.best.cov)
    before = np.sqrt(np.diag(result.best.cov))
    gains = []
    for rod in range(head.rods):
        angle = 2 * np.pi * rod / head.rods
        after = np.linalg.inv(now + information_of_tap(setting, result.best, angle))
        gains.append(float(np.sum(before - np.sqrt(np.diag(after)))))
    rod = int(np.argmax(gains)) + 1
    share = 1.0 - gains[rod - 1] / float(before.sum())
    count = _near(usable, rod, head.rods)
    if share > _WORTH and count > 1:
        return None
    count = sum(t.place == rod for t in usable)
    times = {0: "was not tapped", 1: "was tapped once"}.get(count, f"was tapped {count} times")
    return Ask(
        "tap",
        rod,
        0.0,
        f"To be surer still: rod {rod} {times}; another tap there would narrow the error bars "
        f"most, by {100 * (1 - share):.0f} %.",
    )


def _near(usable: tuple[Take, ...], rod: int, rods: int) -> int:
    """Taps at a rod or halfway to either neighbour."""
    apart = [abs(t.place - rod) for t in usable]
    return sum(min(a, rods - a) <= 0.5 for a in apart)


def _another_way(result: Answers, usable: tuple[Take, ...], rods: int) -> Ask | None:
    """Another tip, or other places, for the next round, if that would tell much more."""
    best, setting = result.best, result.setting
    now = _mean_bar(covariance_at(setting, best.point))
    halfway = 1.0
    if all(at_rod(t.place) for t in usable):
        halfway = _mean_bar(covariance_at(*_halfway_too(setting, best.point))) / now
    tip = _harder_tip(result, now)
    too = f"; the error bars would come down by about {100 * (1 - halfway):.0f} %."
    how = "once at each rod and once halfway to the next"
    if tip is not None and halfway <= _WORTH_HALFWAY:
        return replace(
            tip,
            sentence=f"{tip.sentence} With this tip alone, tap {how}{too}",
            or_halfway=True,
        )
    if tip is None and halfway <= _HALFWAY_ALONE:
        return Ask("halfway", 0, 0.0, f"Tap the next round {how}{too}")
    return tip


def _harder_tip(result: Answers, now: float) -> Ask | None:
    """A harder tip for the next round, if the same taps made with it would tell much more."""
    best, setting = result.best, result.setting
    usual = setting.contact_s * float(np.exp(np.median(best.point.tap[:, 3])))
    if usual < _NOT_HARD * HARD_STICK_S:
        return None
    then = _mean_bar(covariance_at(*_struck_with(HARD_STICK_S / usual, setting, best.point)))
    share = then / now
    words = (
        f"Tap the next round with a harder, lighter tip: this one stays on the head for "
        f"{1e3 * usual:.1f} ms, too long for this head's higher rings"
    )
    if share <= _WORTH_ANOTHER:
        gain = f"; the error bars would come down by about {100 * (1 - share):.0f} %."
        return Ask("harder tip", 0, 0.0, words + gain)
    return Ask("harder tip", 0, 0.0, f"{words}.") if unexplained(result) else None


def _halfway_too(setting: Setting, point: Point) -> tuple[Setting, Point]:
    """One tap of each rod that was tapped, and the same halfway to the next rod."""
    angle, first, times = np.unique(setting.angle_rad, return_index=True, return_counts=True)
    taps = np.tile(first, 2)
    angles = np.concatenate([angle, angle + np.pi / setting.head.rods])
    moved = picked(setting, taps, angles)
    # What the model leaves unexplained is the same at all taps of a place, not at another.
    alone = np.tile(1.0 / times, 2)[:, None]
    moved = replace(moved, floor=tuple(f * alone for f in moved.floor))
    return moved, replace(point, tap=point.tap[taps])


def _mean_bar(cov: FloatArray) -> float:
    """Mean error bar of the rods; infinite where nothing is told of one."""
    variance = np.diag(cov)
    return float(np.sqrt(variance).mean()) if np.all(variance > 0) else float("inf")


def _struck_with(share: float, setting: Setting, point: Point) -> tuple[Setting, Point]:
    """The same taps with a tip that stays for a share of the time.

    Groups are louder where it pushes more. One whose push is not modelled, before or then, has
    it within its microphone.
    """
    contact_s = share * setting.contact_s
    before, after = _usual_push(setting, point, 1.0), _usual_push(setting, point, share)
    louder = after / np.maximum(before, 1e-3)
    moved = replace(
        setting,
        contact_s=contact_s,
        known_to=KNOWN_TO,
        floor=tuple(f * x**2 for f, x in zip(setting.floor, louder, strict=True)),
        groups=tuple(
            replace(g, moments=g.moments * x, level=g.level * x)
            for g, x in zip(setting.groups, louder, strict=True)
        ),
    )
    heard = louder * np.where(setting.known, before, 1.0) / np.where(moved.known, after, 1.0)
    return moved, replace(point, microphone=point.microphone * heard[:, None])


def _usual_push(setting: Setting, point: Point, share: float) -> FloatArray:
    """(G,) usual size of the push at each group, for a share of the contact time."""
    contact = share * setting.contact_s * np.exp(point.tap[:, 3])
    size = push(setting.moments.mean_hz[:, None] * contact)[0]
    return np.asarray(np.sqrt(np.mean(size**2, axis=1)))
