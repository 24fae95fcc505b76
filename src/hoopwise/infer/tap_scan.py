"""Each tap's own unknowns found afresh, over all contact times that its tip may have had.

Near the zero of a tip's push a tap's strength changes sign with its contact time, and a
stepwise fit does not cross that. With the head as it stands, a tap's strength, phase,
delay and place follow from its contact time by one linear step, so all times are tried.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.rod_model import GroupState
from hoopwise.infer.rod_state import TAP_SD, Point, Setting
from hoopwise.infer.rod_system import tapped_at
from hoopwise.infer.tip import CONTACT_SD, push

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

LOG_CONTACTS = np.linspace(-0.42, 0.42, 15)
_OTHERS = [0, 1, 2, 4, 5]
"""All of a tap's unknowns but the contact time, in the order of TAP_SD."""


@dataclass(frozen=True)
class _Seen:
    """Whitened, rows of all groups side by side (R): heard (T, 1, R), the rest (T, K, R)."""

    heard: ComplexArray
    model: ComplexArray
    by_angle: ComplexArray
    by_radius: ComplexArray
    omega: FloatArray
    """(R,)"""


def rescan(
    setting: Setting, point: Point, white: list[ComplexArray], states: tuple[GroupState, ...]
) -> Point:
    """The same head with every tap's unknowns at the best of all contact times."""
    if not any(setting.knows(g) for g in setting.groups):
        return point  # no strength says anything of the tip
    seen = _seen(setting, point, white, states)
    power = np.maximum(np.sum(np.abs(seen.model) ** 2, axis=2), 1e-30)
    size = np.sum(seen.model.conj() * seen.heard, axis=2) / power
    model = size[..., None] * seen.model
    slopes = np.stack(
        [
            model,
            1j * model,
            1j * seen.omega * model,
            size[..., None] * seen.by_angle,
            size[..., None] * seen.by_radius,
        ],
        axis=3,
    )
    miss = seen.heard - model
    rows = np.concatenate([slopes.real, slopes.imag], axis=2)
    left = np.concatenate([miss.real, miss.imag], axis=2)
    start = np.zeros((*size.shape, 5))
    start[..., 0], start[..., 1] = np.log(np.abs(size) + 1e-300), np.angle(size)
    start[..., 2:] = point.tap[:, None, [2, 4, 5]]
    tight = TAP_SD[_OTHERS] ** -2.0
    tight[:2] = 1e-6  # strength and phase are free here: they were just found
    push_back = start * tight * np.array([0.0, 0.0, 1.0, 1.0, 1.0])
    hessian = np.swapaxes(rows, 2, 3) @ rows + np.diag(tight)
    right = np.einsum("tkra,tkr->tka", rows, left) - push_back
    step = np.linalg.solve(hessian, right[..., None])[..., 0]
    left = left - np.einsum("tkra,tka->tkr", rows, step)
    found = start + step
    cost = np.sum(left**2, axis=2) + np.sum(found[..., 2:] ** 2 * tight[2:], axis=2)
    best = np.argmin(cost + (LOG_CONTACTS / CONTACT_SD) ** 2, axis=1)
    tap = point.tap.copy()
    tap[:, _OTHERS] = found[np.arange(len(tap)), best]
    tap[:, 3] = LOG_CONTACTS[best]
    return replace(point, tap=tap)


def _seen(
    setting: Setting, point: Point, white: list[ComplexArray], states: tuple[GroupState, ...]
) -> _Seen:
    at = tapped_at(setting, point)
    heard, omega = [], []
    shown: tuple[list[ComplexArray], list[ComplexArray], list[ComplexArray]] = ([], [], [])
    for g, group in enumerate(setting.groups):
        count = group.moments.shape[1]
        whole = states[g].moments()[:count] @ point.microphone[g]
        inside = setting.heads[g].ritz @ whole.T
        turned = np.exp(2j * np.pi * group.mean_hz * point.tap[:, 2])[:, None]
        if not setting.knows(group):
            continue  # its strengths say nothing of the tip
        pushed = push(group.mean_hz * setting.contact_s * np.exp(LOG_CONTACTS))[0]
        for table, rows in zip((at.value, at.by_angle, at.by_radius), shown, strict=True):
            whitened = np.einsum("tjk,tk->tj", white[g], turned * (table @ inside))
            rows.append(whitened[:, None, :] * pushed[None, :, None])
        heard.append(np.einsum("tjk,tk->tj", white[g], group.moments))
        omega.append(np.full(count, 2 * np.pi * group.mean_hz))
    model, by_angle, by_radius = (np.concatenate(rows, axis=2) for rows in shown)
    return _Seen(
        heard=np.concatenate(heard, axis=1)[:, None, :],
        model=model,
        by_angle=by_angle,
        by_radius=by_radius,
        omega=np.concatenate(omega),
    )
