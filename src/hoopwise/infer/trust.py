"""How far to believe a reading, said in words."""

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.answers import Answers, unexplained
from hoopwise.infer.fit.rod_state import Setting
from hoopwise.infer.head.prior import Belief, fresh_belief, wave_matrix, wave_numbers
from hoopwise.infer.taps.identify import Identified, used_groups
from hoopwise.infer.types import OtherHead, Trust

FloatArray = NDArray[np.float64]

SURE_SD = 0.025
"""Mean error bar above which a reading is not to be trusted rod by rod."""
ODD_SURPRISE = 4.0
"""Mean square of an answer in its expected scatter from where on it is not believed."""
RIVAL_ODDS = 0.1


def surprise_of(result: Answers) -> float:
    """How far the answer lies from what was expected, as a mean square in its own scatter."""
    expected = result.setting.prior
    away = result.best.deviation - expected.mean
    return float(away @ expected.precision @ away) / len(away)


def judge(
    result: Answers,
    found: Identified,
    setting: Setting,
    told: Belief,
    other_head: OtherHead,
    by_itself: bool,
) -> Trust:
    """Whether the fit explains the taps, which waves are sure, whether a rival remains."""
    sd = np.sqrt(np.diag(told.cov))
    misfit = _misfit(setting)
    sentences, level = [], "high"
    sought = len(used_groups(setting.head))
    if len(setting.groups) < 4 or found.score < 0.45:
        level = "low"
        heard = (
            f"Only {len(setting.groups)} of the {sought} kinds of ring looked for were found"
            if len(setting.groups) < sought
            else "The kinds of ring are hard to tell from each other in these taps"
        )
        sentences.append(f"{heard}; tap nearer the microphone, or with a lighter, harder tip.")
    if float(np.mean(sd)) > SURE_SD:
        level = "low"
        sentences.append(
            f"The error bars are wide ({100 * 1.645 * float(np.mean(sd)):.0f} % each way at 90 %): "
            "this round does not tell single rods apart."
        )
    if len(result.odds) > 1 and result.odds[1] > RIVAL_ODDS:
        level = "low"
        sentences.append(_two_answers(result))
    if by_itself or surprise_of(result) > ODD_SURPRISE:
        level = "low"
        sentences.append(
            "This round is far from what the rounds and turns before it lead to expect: check the "
            "labels and tap it again before you turn."
        )
    if by_itself:
        sentences.append("It was read by itself; if the next round agrees, trust them both.")
    if other_head == "ringing":
        level = "low"
        sentences.append(
            "The other head rings along, and what is its own is not in the model: mute it or take "
            "it off to be sure."
        )
    if unexplained(result):
        level = "low"
        sentences.append("The taps differ from each other more than tap places and tips explain.")
    if level == "high":
        sentences.append("The taps fit one answer." + _certain(told.mean, sd))
    return Trust(
        level="high" if level == "high" else "low",
        sentences=tuple(sentences),
        misfit=misfit,
        sure_harmonics=_sure(setting, told.cov),
    )


def _two_answers(result: Answers) -> str:
    """That two answers remain, and at which rods they differ."""
    apart = np.abs(result.fits[1].deviation - result.best.deviation)
    rods = [int(r) + 1 for r in np.flatnonzero(apart > 0.7 * apart.max())]
    where = _named("rod", "rods", rods)
    return f"Two answers remain that explain the taps nearly as well; they differ most at {where}."


def _certain(deviation: FloatArray, sd: FloatArray) -> str:
    off = np.flatnonzero(np.abs(deviation) > 2 * sd)
    if not len(off):
        return " No rod differs from the mean by more than its bar."
    rods = _named("Rod", "Rods", [int(i) + 1 for i in off])
    most = f"{100 * float(np.abs(deviation[off]).max()):.1f} %"
    if len(off) == 1:
        return f" {rods} surely differs from the mean, by {most}."
    return f" {rods} surely differ from the mean, by up to {most}."


def _named(one: str, many: str, rods: list[int]) -> str:
    if len(rods) == 1:
        return f"{one} {rods[0]}"
    return f"{many} {', '.join(map(str, rods[:-1]))} and {rods[-1]}"


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
