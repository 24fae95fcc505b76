"""What a person hears: the low pitch and the edge ring near each rod, beats, the note."""

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.head.rod_model import Name
from hoopwise.infer.taps.round_data import GroupData
from hoopwise.infer.types import HeadMode
from hoopwise.listen.types import JointModes, Note
from hoopwise.units import cents

FloatArray = NDArray[np.float64]

_HEARD_DB = -20.0
"""A partner fainter than this makes no beat that an ear notices."""


def low_pitch(joint: JointModes, group: GroupData) -> FloatArray:
    """(T,) pitch that the pair (1,1) gives at each tap: its two frequencies by their power."""
    index = np.array(group.poles)
    power = np.abs(joint.amplitude[:, index]) ** 2 * joint.t60_s[index]
    return np.asarray(power @ joint.frequency_hz[index] / power.sum(axis=1))


def edge_ring(joint: JointModes, low_hz: float) -> FloatArray:
    """(T,) the strongest of the modes from 1.7 times the low pitch up, near a tap."""
    high = np.flatnonzero(joint.frequency_hz > 1.7 * low_hz)
    if not len(high):
        return np.full(len(joint.amplitude), np.nan)
    loud = np.abs(joint.amplitude[:, high]) * np.sqrt(joint.t60_s[high])
    return np.asarray(joint.frequency_hz[high][np.argmax(loud, axis=1)])


def beats(joint: JointModes, groups: tuple[GroupData, ...]) -> tuple[float, ...]:
    """Beat rates (Hz) of pairs in which both ring on long and loud enough to be heard."""
    found = []
    for g in groups:
        if len(g.poles) < 2:
            continue
        level = np.sqrt(np.mean(np.abs(joint.amplitude[:, list(g.poles)]) ** 2, axis=0))
        audible = level.min() > level.max() * 10 ** (_HEARD_DB / 20)
        if audible and g.split_hz * g.t60_s > 0.5 and g.split_hz < 15.0:
            found.append(g.split_hz)
    return tuple(sorted(found))


def modes_named(joint: JointModes, poles: dict[Name, tuple[int, ...]]) -> tuple[HeadMode, ...]:
    """Every pole of the round with its name, if it has one."""
    names = {k: name for name, members in poles.items() for k in members}
    level = np.sqrt(np.mean(np.abs(joint.amplitude) ** 2, axis=0))
    modes = []
    for k, hz in enumerate(joint.frequency_hz):
        name = names.get(k)
        modes.append(
            HeadMode(
                diameters=name[0] if name else None,
                circles=name[1] if name else None,
                frequency_hz=float(hz),
                frequency_sd_hz=float(joint.frequency_sd_hz[k]),
                t60_s=float(joint.t60_s[k]),
                level_db=float(20 * np.log10(level[k] / level.max())),
            )
        )
    return tuple(modes)


def note_of_round(joint: JointModes, poles: dict[Name, tuple[int, ...]]) -> Note:
    """The head's low note: its round mode (0,1), else the lowest strong one."""
    level = np.sqrt(np.mean(np.abs(joint.amplitude) ** 2, axis=0))
    members = poles.get((0, 1)) or (int(np.flatnonzero(level > 0.1 * level.max())[0]),)
    k = members[0]
    glide = float(np.median(joint.glide))
    others = [i for i in np.flatnonzero(level > 0.5 * level.max()) if i != k]
    return Note(
        frequency_hz=float(joint.frequency_hz[k]),
        sd_hz=float(joint.frequency_sd_hz[k]),
        t60_s=float(joint.t60_s[k]),
        glide_cents=cents(1.0 + max(glide, 0.0), 1.0),
        rival_hz=float(joint.frequency_hz[others[0]]) if others else None,
    )
