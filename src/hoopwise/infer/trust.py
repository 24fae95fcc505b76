"""How far to believe a reading, said in words, and what to do next to know more."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Drum
from hoopwise.infer.answers import Answers, unexplained
from hoopwise.infer.identify import Identified
from hoopwise.infer.one_tap import information_of_tap
from hoopwise.infer.prior import fresh_belief, wave_matrix, wave_numbers
from hoopwise.infer.rod_state import Point, Setting
from hoopwise.infer.rod_system import states_at
from hoopwise.infer.takes import Take
from hoopwise.infer.types import Ask, OtherHead, Trust

FloatArray = NDArray[np.float64]

SURE_SD = 0.025
"""Mean error bar above which a reading is not to be trusted rod by rod."""
ODD_SURPRISE = 4.0
"""Mean square of an answer in its expected scatter from where on it is not believed."""
_RIVAL_ODDS = 0.1
_TRIAL_TURN = 1.0 / 16.0
_WORTH = 0.75
"""A further tap is worth asking for when it brings a rod's error bar to this share."""


def surprise_of(result: Answers) -> float:
    """How far the answer lies from what was expected, as a mean square in its own scatter."""
    expected = result.setting.prior
    away = result.best.deviation - expected.mean
    return float(away @ expected.precision @ away) / len(away)


def judge(
    result: Answers, found: Identified, setting: Setting, cov: FloatArray, other_head: OtherHead
) -> Trust:
    """Whether the fit explains the taps, which waves are sure, whether a rival remains."""
    sd = np.sqrt(np.diag(cov))
    misfit = _misfit(setting)
    sentences, level = [], "high"
    if len(setting.groups) < 4 or found.score < 0.45:
        level = "low"
        sentences.append(
            f"Only {len(setting.groups)} kinds of ring were found where this drum has seven; "
            "tap nearer the microphone, or with a lighter, harder tip."
        )
    if float(np.mean(sd)) > SURE_SD:
        level = "low"
        sentences.append(
            f"The error bars are wide ({100 * 1.645 * float(np.mean(sd)):.0f} % each way at 90 %): "
            "this round does not tell single rods apart."
        )
    if len(result.odds) > 1 and result.odds[1] > _RIVAL_ODDS:
        level = "low"
        sentences.append("Two answers remain that explain the taps nearly as well.")
    if surprise_of(result) > ODD_SURPRISE:
        level = "low"
        sentences.append(
            "This round is far from what the rounds and turns before it lead to expect: check the "
            "labels and tap it again before you turn."
        )
    if other_head == "ringing":
        level = "low"
        sentences.append(
            "The other head rings along and is not in the model: mute it or take it off to be sure."
        )
    if unexplained(setting):
        level = "low"
        sentences.append("The taps differ from each other more than tap places and tips explain.")
    if level == "high":
        off = [i + 1 for i in range(len(sd)) if abs(result.best.deviation[i]) > 2 * sd[i]]
        sentences.append("The taps fit one answer." + _certain(off))
    return Trust(
        level="high" if level == "high" else "low",
        sentences=tuple(sentences),
        misfit=misfit,
        sure_harmonics=_sure(setting, cov),
    )


def _certain(off: list[int]) -> str:
    if not off:
        return " No rod is certain to be off."
    if len(off) == 1:
        return f" Rod {off[0]} is certain to be off."
    return f" Rods {', '.join(map(str, off[:-1]))} and {off[-1]} are certain to be off."


def _misfit(setting: Setting) -> float:
    """How much further than expected the groups stray from the model, typically."""
    return float(np.median(setting.widen))


def _sure(setting: Setting, cov: FloatArray) -> tuple[int, ...]:
    rods = setting.head.rods
    waves, numbers = wave_matrix(rods), wave_numbers(rods)
    prior = waves @ fresh_belief(setting.head.model.rim).cov @ waves.T
    now = waves @ cov @ waves.T
    return tuple(
        int(k)
        for k in sorted(set(numbers[1:]))
        if np.trace(now[numbers == k][:, numbers == k])
        < 0.25 * np.trace(prior[numbers == k][:, numbers == k])
    )


def ask_next(
    result: Answers, setting: Setting, usable: tuple[Take, ...], tension: float, drum: Drum
) -> Ask | None:
    """The one tap or trial turn that tells the most, or None when enough is known."""
    if len(result.odds) > 1 and result.odds[1] > _RIVAL_ODDS:
        return _trial_turn(result, setting, tension, drum)
    return _further_tap(result, setting, usable)


def _trial_turn(result: Answers, setting: Setting, tension: float, drum: Drum) -> Ask:
    """The rod whose small turn changes the modes most differently under the two answers."""
    head = setting.head
    gain = head.model.rim.lug_tension * drum.thread_pitch_m * _TRIAL_TURN / tension
    told = np.zeros(head.rods)
    for rod in range(head.rods):
        change = gain[:, rod] - gain[:, rod].mean()
        moved = [_moved_hz(setting, answer.point, change) for answer in result.fits[:2]]
        told[rod] = float(np.sum((moved[0] - moved[1]) ** 2))
    rod = int(np.argmax(told)) + 1
    slack = result.best.deviation[rod - 1] < 0
    turns = _TRIAL_TURN if slack else -_TRIAL_TURN
    word = "Tighten" if slack else "Loosen"
    return Ask(
        "trial turn",
        rod,
        turns,
        f"{word} rod {rod} by 1/16 turn and tap the round again: "
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
    if float(before.mean()) < 0.5 * SURE_SD:
        return None
    gains = []
    for rod in range(head.rods):
        angle = 2 * np.pi * rod / head.rods
        after = np.linalg.inv(now + information_of_tap(setting, result.best, angle))
        gains.append(float(np.sum(before - np.sqrt(np.diag(after)))))
    rod = int(np.argmax(gains)) + 1
    share = 1.0 - gains[rod - 1] / float(before.sum())
    count = sum(t.rod == rod for t in usable)
    if share > _WORTH and count > 1:
        return None
    times = {0: "was not tapped", 1: "was tapped once"}.get(count, f"was tapped {count} times")
    return Ask(
        "tap",
        rod,
        0.0,
        f"Rod {rod} {times}; another tap there would narrow the error bars most, "
        f"by {100 * (1 - share):.0f} %.",
    )
