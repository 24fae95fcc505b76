"""One tap against a fitted head: how well it fits elsewhere, how much another would tell."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.rod_fit import Fit
from hoopwise.infer.fit.rod_state import TAP_SD, Point, Setting, picked
from hoopwise.infer.fit.rod_system import assemble, scatter_at, states_at

FloatArray = NDArray[np.float64]


def own_costs(setting: Setting, fitted: Fit) -> FloatArray:
    """(T,) half sum of squares of each tap where it was said to be, as it was fitted."""
    scatter = scatter_at(setting, fitted.point, fitted.states)
    system = assemble(setting, fitted.point, scatter, split=True, states=fitted.states)
    squares = np.sum(system.residual**2, axis=1) + np.sum(system.tap_residual**2, axis=1)
    return np.asarray(0.5 * squares)


def tap_costs(
    setting: Setting, point: Point, taps: NDArray[np.intp], angle_rad: FloatArray
) -> FloatArray:
    """Half sum of squares of each tap at an assumed angle, all but its own unknowns fixed."""
    tried = picked(setting, taps, angle_rad)
    states = states_at(setting, point)
    scatter = scatter_at(tried, replace(point, tap=point.tap[taps]), states)
    start = np.zeros((len(taps), 6))
    start[:, :4] = point.tap[taps, :4]
    best = np.full(len(taps), np.inf)
    # A wave may meet the tip with the other sign at another rod: try both.
    for turn in (0.0, np.pi):
        trial = replace(point, tap=start + np.array([0, turn, 0, 0, 0, 0]))
        for _ in range(6):
            system = assemble(tried, trial, scatter, split=True, states=states)
            jt, r = system.by_tap, system.residual
            own = jt.transpose(0, 2, 1) @ jt + np.diag(1.5 * TAP_SD**-2.0)
            right = np.einsum("tra,tr->ta", jt, r) + system.tap_residual / TAP_SD
            step = np.linalg.solve(own, right[..., None])[..., 0]
            # A tap tried at a wrong rod may run away; no unknown goes far in one step.
            step = np.clip(step, -3 * TAP_SD, 3 * TAP_SD)
            trial = replace(trial, tap=np.clip(trial.tap + step, -6 * TAP_SD, 6 * TAP_SD))
        system = assemble(tried, trial, scatter, split=True, states=states)
        cost = 0.5 * (np.sum(system.residual**2, axis=1) + np.sum(system.tap_residual**2, axis=1))
        best = np.minimum(best, cost)
    return np.asarray(best)


def information_of_tap(setting: Setting, fitted: Fit, angle_rad: float) -> FloatArray:
    """(N, N) what one more tap at an angle would add to the precision of the deviations.

    Microphone, frequencies and the seat count as known; the tap's own unknowns do not.
    """
    typical = int(np.argmin(np.abs(np.angle(np.exp(1j * (setting.angle_rad - angle_rad))))))
    tried = picked(setting, np.array([typical]), np.array([angle_rad]))
    point = replace(fitted.point, tap=fitted.point.tap[[typical]])
    scatter = scatter_at(tried, point, fitted.states)
    system = assemble(tried, point, scatter, split=True, states=fitted.states)
    jt, jd = system.by_tap[0], system.by_global[0][:, : setting.head.rods]
    own = jt.T @ jt + np.diag(TAP_SD**-2.0)
    cross = jt.T @ jd
    return np.asarray(jd.T @ jd - cross.T @ np.linalg.solve(own, cross))
