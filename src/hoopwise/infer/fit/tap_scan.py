"""Each tap's own unknowns found afresh, over all contact times that its tip may have had.

Near the zero of a tip's push a tap's strength changes sign with its contact time, and a
stepwise fit does not cross that. With the head as it stands, a tap's strength, phase,
delay and place follow from its contact time by one linear step, so all times are tried.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.rod_state import TAP_SD, Point, Setting
from hoopwise.infer.fit.rod_system import scatter_at, tapped_at
from hoopwise.infer.fit.tip import CONTACT_SD, push
from hoopwise.infer.head.rod_model import GroupStates

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


def rescan(setting: Setting, point: Point, states: GroupStates) -> Point:
    """The same head with every tap's unknowns at the best of all contact times."""
    if not setting.known.any():
        return point  # no strength says anything of the tip
    seen = _seen(setting, point, states)
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


def _seen(setting: Setting, point: Point, states: GroupStates) -> _Seen:
    known = np.flatnonzero(setting.known)  # other strengths say nothing of the tip
    at, measured = tapped_at(setting, point), setting.moments
    hz = measured.mean_hz[known]
    microphone = point.microphone[known]
    whole = (states.moments()[known] @ microphone[:, None, :, None])[..., 0]
    inside = setting.heads.ritz[known] @ np.swapaxes(whole, 1, 2)
    mine = _loosened(setting, point, states, known, at.value @ inside)
    turned = np.exp(2j * np.pi * hz[:, None] * point.tap[:, 2])[..., None]
    pushed = push(hz[:, None] * setting.contact_s * np.exp(LOG_CONTACTS))[0]
    rows = np.repeat(np.arange(len(known)), 2)[measured.there[known].ravel()]

    def side_by_side(moments: ComplexArray) -> ComplexArray:
        """(T, R) whitened, from (G, T, 2)."""
        whitened = (mine @ moments[..., None])[..., 0].transpose(1, 0, 2)
        return np.asarray(whitened.reshape(len(whitened), -1)[:, measured.there[known].ravel()])

    model, by_angle, by_radius = (
        side_by_side(turned * (table @ inside))[:, None, :] * pushed[rows].T
        for table in (at.value, at.by_angle, at.by_radius)
    )
    return _Seen(
        heard=side_by_side(measured.values[known])[:, None, :],
        model=model,
        by_angle=by_angle,
        by_radius=by_radius,
        omega=2 * np.pi * hz[rows],
    )


def _loosened(
    setting: Setting,
    point: Point,
    states: GroupStates,
    groups: NDArray[np.intp],
    shown: ComplexArray,
) -> ComplexArray:
    """(G, T, 2, 2) whiteners less what the strengths' scatter follows, for some groups."""
    white = setting.white[groups]
    along = (white @ shown[..., None])[..., 0]
    size = np.sqrt(np.maximum(np.sum(np.abs(along) ** 2, axis=2), 1e-30))[..., None]
    along = along / size
    share = scatter_at(setting, point, states).followed[groups][:, :, None]
    followed = along.conj()[:, :, None, :] @ white
    return np.asarray(white - (share * along)[..., None] * followed)
