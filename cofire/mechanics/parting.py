"""What the joints of a solid would release if they parted all round."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cofire.mechanics.solid import Solid, held_at
from cofire.numerics import one_thread

if TYPE_CHECKING:
    from cofire.numerics import Array

_RATIO_STEP = 0.2  # change of the logarithm of a ratio of moduli after which compliance is anew


@dataclass(frozen=True)
class Parting:
    """What the joints of a vessel would release if they parted.

    Attributes
    ----------
    body
        The vessel.
    forces
        Of the upper part on the nodes of each of S joints, shapes (T, nodes, 2). [N]
    young
        Modulus of each material, shape (T, N). [Pa]
    poisson
        Ratio of each material, shape (N,). [-]
    """

    body: Solid
    forces: tuple[Array, ...]
    young: Array
    poisson: Array

    @one_thread
    def energy(self) -> Array:
        """Released per area, shape (T, S). [J/m²]"""
        mesh = self.body.mesh
        out = np.zeros((len(self.young), mesh.step_row.size))
        for s, row in enumerate(mesh.step_row):
            force = self.forces[s].reshape(len(out), -1)
            ring = np.pi * (mesh.radius[row, 1:] + mesh.radius[row, :-1])
            area = ring @ np.hypot(np.diff(mesh.radius[row]), np.diff(mesh.height[row]))
            for first, last in ((0, row // 2), (row // 2, mesh.rows)):
                out[:, s] += self._work(force, first, last, int(row)) / (2.0 * area)
        return out

    def _work(self, force: Array, first: int, last: int, row: int) -> Array:
        """Of the joint's forces on the part from one row of elements to another, shape (T,). [J]

        Compliance times the modulus beside the joint is found anew where the ratio of moduli has
        changed by a fifth, and read along straight lines between.
        """
        part = _part(self.body, first, last)
        beside = self.body.material_of_row[row // 2 - (first == 0)]
        inside = np.unique(part.material)
        reference = self.young[:, beside]
        ratio = np.log(self.young[:, inside] / reference[:, None])
        gone = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(ratio, axis=0)).max(axis=1))])
        total = gone[-1]
        wanted = np.linspace(0.0, total, int(np.ceil(total / _RATIO_STEP)) + 1)
        knots = np.unique(np.searchsorted(gone, wanted - 1e-12).clip(0, gone.size - 1))
        line = part.elements.line
        nodes = np.arange(*(line[-2:] if first == 0 else line[:2]))
        works = np.stack(
            [
                np.einsum("ta,ab,tb->t", force, self._compliance(part, nodes, int(k)), force)
                * reference[k]
                for k in knots
            ]
        )
        at = np.interp(gone, gone[knots], np.arange(knots.size)) if knots.size > 1 else 0.0 * gone
        low = np.floor(at).astype(np.intp).clip(0, max(knots.size - 2, 0))
        high = np.minimum(low + 1, knots.size - 1)
        time = np.arange(len(force))
        share = at - low
        work = (1.0 - share) * works[low, time] + share * works[high, time]
        return np.asarray(work / reference, np.float64)

    def _compliance(self, part: Solid, nodes: NDArray[np.intp], time: int) -> Array:
        """Displacement of the nodes of a joint for each force on them, elastic. [m/N]"""
        tangent = part.elastic_tangent(self.young[time], self.poisson)
        unit = np.zeros((part.held.size, 2 * nodes.size))
        at = (2 * nodes[:, None] + np.arange(2)).ravel()
        unit[at, np.arange(at.size)] = 1.0
        unit[part.held.ravel()] = 0.0
        return np.asarray(part.solver(tangent)(unit)[at])


def _part(body: Solid, first: int, last: int) -> Solid:
    """Some rows of elements of a vessel as a body of their own, held axially far from the joint."""
    elements = body.elements.rows(first, last)
    own = slice(body.elements.start[first], body.elements.start[last])
    lines = elements.line[[0, 1] if first == 0 else [-2, -1]]
    held = held_at(elements, int(lines.sum()) // 2)
    return replace(
        body,
        elements=elements,
        material=body.material[own],
        load=np.zeros(held.shape),
        held=held,
        geometry=body.geometry.rows(own),
    )
