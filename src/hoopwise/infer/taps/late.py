"""Modes of a head over a muted one, heard once the muted one has fallen silent.

The two heads breathe together through the air between them, loudly and for some hundredths of
a second: cloth or a hand takes the sound away. What is so short overlaps all its neighbours and
is hard to tell from them, but the modes to read ring on. So the first moments are cut out, and
the amplitudes are carried back to the stroke.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hoopwise.infer.taps.takes import Take
from hoopwise.listen.joint.modes import MOST_MODES, joint_modes
from hoopwise.listen.types import JointModes

SILENT_S = 0.025
"""A muted head is down by 40 dB after so long (ring times of some 0.04 s; no source)."""


def modes_over_muted(usable: Sequence[Take]) -> JointModes:
    """What `joint_modes` finds in taps whose first moments are left out.

    Raises
    ------
    RecordingError
        As `joint_modes` does.
    """
    cut = []
    for take in usable:
        start = round(take.onset_s * take.rate)
        stop = start + round(SILENT_S * take.rate)
        cut.append((np.concatenate([take.samples[:start], take.samples[stop:]]), take.rate))
    late = joint_modes(cut, onsets=[t.onset_s for t in usable], most_modes=MOST_MODES)
    return carried_back(late, SILENT_S)


def carried_back(joint: JointModes, by_s: float) -> JointModes:
    """The same modes with amplitudes referred to a moment that much earlier."""
    rate = joint.glide_rate
    glide = joint.glide * np.exp(rate * by_s)
    through = by_s - glide * np.expm1(-rate * by_s) / rate
    grown = np.log(1000) / joint.t60_s * by_s
    back = np.exp(grown - 2j * np.pi * np.outer(through, joint.frequency_hz))
    change = joint.amplitude_by_pole
    if change.size:
        count = len(joint.frequency_hz)
        at = np.arange(count)
        change = back[:, :, None] * change
        change[:, at, at] -= 2j * np.pi * through[:, None] * joint.amplitude * back
        change[:, at, count + at] -= grown * joint.amplitude * back
    return replace(
        joint,
        amplitude=back * joint.amplitude,
        amplitude_cov=back[:, :, None] * joint.amplitude_cov * back[:, None, :].conj(),
        amplitude_by_pole=change,
        glide=glide,
    )
