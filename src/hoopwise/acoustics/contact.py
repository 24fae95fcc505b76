"""Two vibrating things that touch on one side only, stepped in time without gaining energy.

Coordinates x have unit modal mass, exact poles, and meet at P places where the gap closes:
penetration d = B x, contact force f = k max(d, 0), pushing -B^T f. The linear part is
stepped by the trapezoidal rule with frequencies pre-warped so that every free mode keeps
its exact pole; the force is taken at the new time. Since the contact potential is convex,
phi(d1) - phi(d0) <= f(d1) (d1 - d0), the sum of kinetic, elastic and contact energy can
only fall when nothing strikes. What the contact loses this way acts as the loss of a
dull impact: it is largest for the fastest bounces and depends on the rate.

The new forces solve a strictly convex problem with a unique answer, found by Newton steps
on the set of closed places (remembered between steps), or by nonnegative least squares.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

Floats = NDArray[np.float64]

_NEWTON_STEPS = 12
_REMEMBERED = 4096
_CHUNK = 2048


@dataclass(frozen=True)
class Run:
    """What a contact run leaves: n steps, P places."""

    seen: Floats
    """(n,) weighted sum of coordinates and velocities, as asked for."""
    force_n: Floats
    """(n, P) contact forces (N)."""
    energy_j: Floats
    """(n,) kinetic, elastic and contact energy and that of the constant load."""


class ContactScheme:
    """A system of modes with one-sided contact at fixed places."""

    def __init__(
        self, pole: NDArray[np.complex128], meet: Floats, load: Floats, stiffness_n_m: float,
        rate_hz: float,
    ) -> None:  # fmt: skip
        """Prepare the steps.

        Parameters
        ----------
        pole
            (M,) free poles -a + i w (1/s).
        meet
            (P, M) penetration per coordinate (1/sqrt(kg)).
        load
            (M,) constant force on the coordinates (N/sqrt(kg)).
        stiffness_n_m
            Contact stiffness of one place (N/m).
        rate_hz
            Steps per second.
        """
        self._step = step = 1.0 / rate_hz
        warped = 2.0 * rate_hz * np.tanh(pole * step / 2.0)
        self._spring: Floats = np.abs(warped) ** 2
        self._denominator: Floats = 1.0 - warped.real * step + self._spring * step**2 / 4.0
        self._meet, self._load, self._stiffness = meet, load, stiffness_n_m
        self._give: Floats = (meet * (step**2 / 2.0 / self._denominator)) @ meet.T
        self._inverse: dict[bytes, Floats] = {}

    def at_rest(self) -> tuple[Floats, Floats]:
        """Positions (M,) and contact forces (P,) (N) in equilibrium under the load."""
        give = (self._meet / self._spring) @ self._meet.T
        force = _least(give, self._meet @ (self._load / self._spring), self._stiffness)
        return (self._load - force @ self._meet) / self._spring, force

    def run(
        self, position: Floats, push: Floats, drive: Floats, count: int,
        watch: tuple[Floats, Floats] | None = None,
    ) -> Run:  # fmt: skip
        """Step on from rest.

        Parameters
        ----------
        position
            (M,) where it starts, at rest.
        push
            (n,) force of the strike at the middle of each step (N); zero after its end.
        drive
            (M,) share of the strike that each coordinate gets.
        count
            Number of steps.
        watch
            (M,) weights of position and of velocity in ``seen``; None for zeros.

        Returns
        -------
        Run
            Arrays over ``count`` steps, each taken at the end of a step.
        """
        step, meet = self._step, self._meet
        keep, pull = 1.0 / self._denominator, 0.5 * step * self._spring / self._denominator
        lean = 0.5 * step * self._load / self._denominator
        strike, back = 0.5 * step * drive / self._denominator, (0.5 * step * keep) * meet
        x, v = position.copy(), np.zeros_like(position)
        xs, vs = np.empty((_CHUNK, x.size)), np.empty((_CHUNK, x.size))
        forces = np.empty((count, meet.shape[0]))
        seen, energy = np.zeros(count), np.empty(count)
        closed = (meet @ x > 0).tobytes()
        for i in range(count):
            middle = keep * v
            middle -= pull * x
            middle += lean
            if i < push.size:
                middle += push[i] * strike
            force, closed = self._contact(meet @ (x + step * middle), closed)
            middle -= force @ back
            x += step * middle
            v = 2.0 * middle - v
            at = i % _CHUNK
            xs[at], vs[at], forces[i] = x, v, force
            if at == _CHUNK - 1 or i == count - 1:
                part = slice(i - at, i + 1)
                energy[part] = self._energy(xs[: at + 1], vs[: at + 1], forces[part])
                if watch is not None:
                    seen[part] = xs[: at + 1] @ watch[0] + vs[: at + 1] @ watch[1]
        return Run(seen, forces, energy)

    def _energy(self, position: Floats, velocity: Floats, force: Floats) -> Floats:
        """Kinetic, elastic, contact energy and that of the load after each step (n,)."""
        energy = np.einsum("nm,nm->n", velocity, velocity)
        energy += np.einsum("nm,nm->n", position, position * self._spring - 2.0 * self._load)
        energy += np.einsum("np,np->n", force, force) / self._stiffness
        return np.asarray(0.5 * energy, dtype=np.float64)

    def _contact(self, free: Floats, closed: bytes) -> tuple[Floats, bytes]:
        """Forces (P,) whose penetrations agree with them, and which places are closed."""
        for _ in range(_NEWTON_STEPS):
            force = self._solver(closed) @ free
            now = (free - self._give @ force > 0).tobytes()
            if now == closed:
                return force, now
            closed = now
        force = _least(self._give, free, self._stiffness)
        return force, (force > 0).tobytes()

    def _solver(self, closed: bytes) -> Floats:
        """Matrix from free penetrations to forces when just these places are closed."""
        found = self._inverse.get(closed)
        if found is None:
            if len(self._inverse) >= _REMEMBERED:
                self._inverse.clear()
            found = np.zeros_like(self._give)
            at = np.flatnonzero(np.frombuffer(closed, dtype=np.bool_))
            inner = self._give[np.ix_(at, at)] + np.eye(at.size) / self._stiffness
            found[np.ix_(at, at)] = np.linalg.inv(inner)
            self._inverse[closed] = found
        return found


def _least(give: Floats, free: Floats, stiffness: float) -> Floats:
    """Contact forces as the minimum of a convex energy over nonnegative forces."""
    lower = np.linalg.cholesky(give + np.eye(free.size) / stiffness)
    force, _ = nnls(lower.T, np.linalg.solve(lower, free))
    return np.asarray(force, dtype=np.float64)
