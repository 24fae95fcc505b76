"""Round films by scikit-fem, assembled from the weak forms: the outside check of the film.

Nothing here uses the package's Airy series, Bessel basis or Ritz matrices.
"""

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import eigsh, splu
from skfem import (
    Basis,
    BilinearForm,
    ElementTriP2,
    ElementVector,
    FacetBasis,
    LinearForm,
    MeshTri,
    MeshTri2,
    condense,
)
from skfem.helpers import ddot, dot, grad, sym_grad, trace

from hoopwise.drum import Film

Array = NDArray[np.float64]
Around = Callable[[Array], Array]
Tension = Callable[[Array, Array], tuple[Array, Array, Array]]


@lru_cache(maxsize=4)
def disc(refine: int) -> Any:
    """Unit disc of curved quadratic triangles whose rim lies on the circle."""
    flat = MeshTri2.from_mesh(MeshTri.init_circle(refine))
    places = flat.doflocs.copy()
    edges = flat.facets[:, flat.boundary_facets()]
    middles = flat.p[:, edges].mean(axis=1)
    for x, y in middles.T:
        i = int(np.argmin((places[0] - x) ** 2 + (places[1] - y) ** 2))
        places[:, i] /= np.hypot(*places[:, i])
    return MeshTri2(places, flat.t)


class PulledFilm:
    """Plane stress of a film in its collar: springs E h / L outward, (1 - s) G h / L along."""

    def __init__(
        self, film: Film, radius_m: float, collar_m: float, slide: float, refine: int = 5
    ) -> None:
        mesh = disc(refine).scaled(radius_m)
        element = ElementVector(ElementTriP2())
        self.inside = Basis(mesh, element, intorder=4)
        self.rim = FacetBasis(mesh, element, intorder=10)
        self.radius_m = radius_m
        self.stretch, self.nu = film.stretch_stiffness_n_m, film.poisson
        self.spring = self.stretch / collar_m
        # A trace of grip keeps a freely sliding film from spinning for ever.
        along = max(1.0 - slide, 1e-9) * self.stretch / (2 * (1 + self.nu)) / collar_m
        plate, nu, spring = self.stretch / (1 - self.nu**2), self.nu, self.spring

        @BilinearForm  # type: ignore[untyped-decorator]  # scikit-fem has no types
        def plane(u: Any, v: Any, w: Any) -> Any:
            a, b = sym_grad(u), sym_grad(v)
            return plate * ((1 - nu) * ddot(a, b) + nu * trace(a) * trace(b))

        @BilinearForm  # type: ignore[untyped-decorator]
        def collar(u: Any, v: Any, w: Any) -> Any:
            n = w.x / np.hypot(*w.x)
            t = np.array([-n[1], n[0]])
            return spring * dot(u, n) * dot(v, n) + along * dot(u, t) * dot(v, t)

        self.solver = splu((plane.assemble(self.inside) + collar.assemble(self.rim)).tocsc())

    def load(self, pull: Around) -> Array:
        """Load vector of the hoop drawing the collar out by pull(theta)."""

        @LinearForm  # type: ignore[untyped-decorator]
        def outward(v: Any, w: Any) -> Any:
            n = w.x / np.hypot(*w.x)
            return self.spring * pull(np.arctan2(w.x[1], w.x[0])) * dot(v, n)

        return np.asarray(outward.assemble(self.rim), dtype=np.float64)

    def rim_stiffness(self, k: int) -> float:
        """Radial tension cos k theta at the rim per metre of hoop pull cos k theta."""
        load = self.load(lambda theta: np.cos(k * theta))
        work = float(load @ self.solver.solve(load))
        moved = work / (self.spring * np.pi * self.radius_m * (2 if k == 0 else 1))
        return self.spring * (1.0 - moved)

    def energy_of_slopes(self, slopes: Callable[[Array, Array], tuple[Array, Array]]) -> float:
        """Least energy (N m) of a film pushed out of its plane with slopes (x, y)."""
        wx, wy = slopes(*np.asarray(self.inside.global_coordinates()))
        strain = np.array([[wx * wx, wx * wy], [wx * wy, wy * wy]]) / 2
        nu, plate = self.nu, self.stretch / (1 - self.nu**2)
        both = strain[0, 0] + strain[1, 1]
        stress = plate * ((1 - nu) * strain + nu * both * np.eye(2)[:, :, None, None])

        @LinearForm  # type: ignore[untyped-decorator]
        def against(v: Any, w: Any) -> Any:
            return -ddot(stress, sym_grad(v))

        load = against.assemble(self.inside)
        held = 0.5 * np.sum(stress * strain * self.inside.dx)
        return float(held - 0.5 * load @ self.solver.solve(load))

    def stress(self, pull: Around) -> tuple[Array, Array, Array, Array, Array]:
        """x, y and N_xx, N_xy, N_yy at the quadrature points, flat arrays."""
        field = self.inside.interpolate(self.solver.solve(self.load(pull)))
        strain = sym_grad(field)
        both = strain[0, 0] + strain[1, 1]
        nu, plate = self.nu, self.stretch / (1 - self.nu**2)
        parts = (
            plate * ((1 - nu) * strain[0, 0] + nu * both),
            plate * (1 - nu) * strain[0, 1],
            plate * ((1 - nu) * strain[1, 1] + nu * both),
        )
        x, y = np.asarray(self.inside.global_coordinates())
        a, b, c = (np.asarray(part).ravel() for part in parts)
        return x.ravel(), y.ravel(), a, b, c


def membrane_frequencies(
    tension: Tension, radius_m: float, mass_kg_m2: float, count: int, refine: int = 5
) -> Array:
    """Lowest frequencies (Hz) of a film clamped at its rim under N_xx, N_xy, N_yy (x, y)."""
    basis = Basis(disc(refine).scaled(radius_m), ElementTriP2(), intorder=6)

    @BilinearForm  # type: ignore[untyped-decorator]
    def stretch(u: Any, v: Any, w: Any) -> Any:
        (ux, uy), (vx, vy) = grad(u), grad(v)
        return w.xx * ux * vx + w.xy * (ux * vy + uy * vx) + w.yy * uy * vy

    @BilinearForm  # type: ignore[untyped-decorator]
    def mass(u: Any, v: Any, w: Any) -> Any:
        return mass_kg_m2 * u * v

    xx, xy, yy = tension(*np.asarray(basis.global_coordinates()))
    stiff, heavy, *_ = condense(
        stretch.assemble(basis, xx=xx, xy=xy, yy=yy),
        mass.assemble(basis),
        D=basis.get_dofs(),
        expand=False,
    )
    squares = eigsh(stiff, k=count, M=heavy, sigma=0.0, return_eigenvectors=False)
    return np.asarray(np.sqrt(np.sort(squares)) / (2 * np.pi), dtype=np.float64)


def cartesian(theta: Array, n_rr: Array, n_rt: Array, n_tt: Array) -> tuple[Array, Array, Array]:
    """N_xx, N_xy, N_yy from polar tensions at angles theta."""
    c, s = np.cos(theta), np.sin(theta)
    return (
        c * c * n_rr - 2 * c * s * n_rt + s * s * n_tt,
        c * s * (n_rr - n_tt) + (c * c - s * s) * n_rt,
        s * s * n_rr + 2 * c * s * n_rt + c * c * n_tt,
    )
