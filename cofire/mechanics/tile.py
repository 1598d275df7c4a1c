"""Flat tiles of layers, free to bend or held flat, and bars on two supports."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray
from scipy.special import beta, betainc

from cofire.errors import InputError
from cofire.mechanics.integrator import Control, Record, march
from cofire.mechanics.law import PLATE, STRIP, StressState
from cofire.mechanics.properties import Mechanisms
from cofire.numerics import lobatto
from cofire.units import GRAVITY

if TYPE_CHECKING:
    from cofire.numerics import Array
    from cofire.physics.history import History


# ----------------------------------------------------------------------------------------------
# Stress and camber of a flat tile of layers, free to bend or held flat


@dataclass(frozen=True)
class Tile:
    """N layers bonded over each other, points through each; a structure for `march`.

    Strain is natural, ε0 + κ y with y from the bottom face (Kirchhoff). Good away from the edges,
    from about one thickness inwards. Where the march is told to follow, layers are given as they
    are at the start of the history and grow thinner as their own free strain says (flow adds only
    what the layers pull at each other): the same mismatch bows a thinner tile more.

    Attributes
    ----------
    state
        STRIP (narrow, uniaxial stress) or PLATE (wide, equal stress in both directions).
    material
        Index of the material at each point, shape (*batch, N, P). [-]
    height
        y of each point, same shape. [m]
    share
        Thickness each point stands for, same shape. [m]
    thickness
        Of each layer, shape (*batch, N). [m]
    free_to_bend
        If False the tile stays flat (κ = 0) under whatever moment that takes.
    """

    state: StressState
    material: NDArray[np.intp]
    height: Array
    share: Array
    thickness: Array
    free_to_bend: bool

    def sized(self, free_strain: Array) -> Tile:
        """The same with layers as thick as their free strain makes them.

        Parameters
        ----------
        free_strain
            At the points, shape (*batch, N, P). [-]
        """
        grown = np.exp(free_strain[..., 0])
        thickness = self.thickness * grown
        bottom = np.cumsum(thickness, axis=-1) - thickness
        given = np.cumsum(self.thickness, axis=-1) - self.thickness
        own = (self.height - given[..., None]) * grown[..., None]
        return replace(
            self,
            height=bottom[..., None] + own,
            share=self.share * grown[..., None],
            thickness=thickness,
        )

    @property
    def batch_axes(self) -> int:
        """Leading axes of the points that are candidates. [-]"""
        return self.material.ndim - 2

    def start(self) -> Array:
        """Mid-strain and curvature before the firing, zero, shape (2, *batch). [-], [1/m]"""
        return np.zeros((2, *self.material.shape[:-2]))

    def strains(self, unknowns: Array) -> Array:
        """Total strain at the points, shape (1, *batch, N, P). [-]

        Parameters
        ----------
        unknowns
            Strain at the bottom face [-] and curvature [1/m], shape (2, *batch).
        """
        base, curvature = unknowns[..., None, None]
        return np.asarray(base + curvature * self.height)[None]

    def unbalanced(self, stress: Array) -> Array:
        """Force [N/m] and moment [N] that the stress leaves unbalanced, shape (2, *batch).

        Parameters
        ----------
        stress
            Shape (1, *batch, N, P). [Pa]
        """
        force, moment = self.resultants(stress)
        return -np.stack([force, moment if self.free_to_bend else np.zeros_like(moment)])

    def solver(self, tangent: Array) -> Callable[[Array], Array]:
        """Function of the unbalanced force: change of base strain and curvature.

        Parameters
        ----------
        tangent
            Shape (1, 1, *batch, N, P). [Pa]
        """
        stiffness = tangent[0, 0] * self.share
        first = stiffness * self.height
        a = stiffness.sum(axis=(-2, -1))
        b = first.sum(axis=(-2, -1))
        d = (first * self.height).sum(axis=(-2, -1))
        determinant = a * d - b * b

        def change(unbalanced: Array) -> Array:
            force, moment = unbalanced
            if not self.free_to_bend:
                return np.stack([force / a, np.zeros_like(force)])
            return np.stack(
                [(d * force - b * moment) / determinant, (a * moment - b * force) / determinant]
            )

        return change

    def resultants(self, stress: Array) -> tuple[Array, Array]:
        """Force and moment about the bottom face per width, each of shape (*batch). [N/m], [N]

        Parameters
        ----------
        stress
            Shape (1, *batch, N, P). [Pa]
        """
        load = stress[0] * self.share
        return load.sum(axis=(-2, -1)), (load * self.height).sum(axis=(-2, -1))


@dataclass(frozen=True)
class FiredTile:
    """A tile through the firing, one entry for each of S times.

    Attributes
    ----------
    time
        Shape (S,). [s]
    stress
        In the plane, at each point of each layer, shape (S, *batch, N, P). [Pa]
    height
        Of the points above the bottom face, as given, shape (*batch, N, P). [m]
    bottom_strain
        Strain of the bottom face, shape (S, *batch). [-]
    curvature
        Positive where the top face is the longer and the middle stands proud, (S, *batch). [1/m]
    record
        The march behind it.
    """

    time: Array
    stress: Array
    height: Array
    bottom_strain: Array
    curvature: Array
    record: Record


def layered_tile(
    thickness: npt.ArrayLike,
    material: npt.ArrayLike | None = None,
    *,
    wide: bool = True,
    free_to_bend: bool = True,
    points: int = 5,
) -> Tile:
    """A tile of layers, listed from the bottom, or a batch of them.

    Parameters
    ----------
    thickness
        Of each layer, shape (*batch, N); zero for a layer a candidate does not have. [m]
    material
        Index into the history's materials of each layer, shape (N,) or (*batch, N); the
        history's own order if not given. [-]
    wide
        True for a plate (equal stress in both directions), False for a narrow strip.
    free_to_bend
        If False the tile is held flat.
    points
        Points through each layer, three or more, both faces of the layer included. [-]

    Raises
    ------
    InputError
        If a thickness is negative, all are zero, or the shapes do not fit.
    """
    layers = np.atleast_1d(np.asarray(thickness, float))
    if not (np.isfinite(layers).all() and (layers >= 0).all() and (layers.sum(-1) > 0).all()):
        message = f"tile: layer thickness {layers.tolist()} m; allowed: 0 or more, not all 0"
        raise InputError(message)
    if points < 3:
        message = f"tile: {points} points through a layer; allowed: 3 or more"
        raise InputError(message)
    index = np.arange(layers.shape[-1]) if material is None else np.asarray(material, np.intp)
    try:
        index = np.broadcast_to(index, layers.shape)
    except ValueError:
        message = f"tile: {index.shape} materials for {layers.shape} layers"
        raise InputError(message) from None
    place, weight = lobatto(points)
    bottom = np.cumsum(layers, axis=-1) - layers
    height = bottom[..., None] + 0.5 * layers[..., None] * (1.0 + place)
    return Tile(
        state=PLATE if wide else STRIP,
        material=np.broadcast_to(index[..., None], height.shape),
        height=height,
        share=layers[..., None] * weight,
        thickness=layers,
        free_to_bend=free_to_bend,
    )


def fire_tile(
    tile: Tile,
    history: History,
    *,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    added_strain: Callable[[float], Array] | None = None,
) -> FiredTile:
    """Stress and camber of a tile through the whole trace.

    Parameters
    ----------
    tile
        The layers, or a batch of candidates.
    history
        Histories of their materials.
    mechanisms
        Ways of relief in use; all of them if not given.
    control
        Tolerances and steps of the march.
    added_strain
        Free strain at the points as a function of time, beyond that of the history. [-]
    """
    record = march(tile, history, mechanisms=mechanisms, control=control, added_strain=added_strain)
    return FiredTile(
        time=record.time,
        stress=record.stress[:, 0],
        height=tile.height,
        bottom_strain=record.unknowns[:, 0],
        curvature=record.unknowns[:, 1],
        record=record,
    )


def sagitta(curvature: npt.ArrayLike, length: float) -> Array:
    """Rise of the middle of a bowed tile above the line through its ends. [m]

    Parameters
    ----------
    curvature
        Any shape. [1/m]
    length
        Of the tile along the bow. [m]
    """
    curvature = np.asarray(curvature, float)
    return curvature * length**2 / 8.0 * np.sinc(curvature * length / (4.0 * np.pi)) ** 2


# ----------------------------------------------------------------------------------------------
# How far a bar on two supports sags under its own weight while it is fired


def sag_rate(
    density: npt.ArrayLike,
    factor: npt.ArrayLike,
    exponent: npt.ArrayLike,
    thickness: npt.ArrayLike,
    span: float,
) -> Array:
    """Speed of the middle of a bar that flows by strain rate = A σⁿ. [m/s]

    Thin beam, plane sections, small sag. The moment M = w x (L − x)/2 bends a section of height h
    at A (M/J)ⁿ with J = b (h/2)^(2 + 1/n) · 2n/(2n + 1); twice integrated to the middle. With
    n = 1 and A = 1/η this is 5 ρ g L⁴/(32 η h²), the elastic beam's 5 w L⁴/(384 E I) with a rate
    for the strain. Good up to a sag of about a tenth of the span.

    Parameters
    ----------
    density
        Bulk, broadcasts with the rest. [kg/m³]
    factor
        A; 1/η of a viscous body. [1/(s Pa^n)]
    exponent
        n, 1 or more. [-]
    thickness
        Height h of the section, any width. [m]
    span
        L between the supports, which do not move. [m]
    """
    A, n = np.asarray(factor, np.float64), np.asarray(exponent, np.float64)
    half = 0.5 * np.asarray(thickness, np.float64)
    # ∫ (x (1 − x))ⁿ x dx over half the span: 5/192 where n = 1
    shape = betainc(n + 2.0, n + 1.0, 0.5) * beta(n + 2.0, n + 1.0)
    edge = np.asarray(density) * GRAVITY * span**2 * (2.0 * n + 1.0) / (2.0 * n * half)
    return np.asarray(A * edge**n / half * span**2 * shape)


def fired_sag(
    time: Array,
    density: Array,
    viscosity: Array,
    creep_factor: Array,
    creep_exponent: float,
    thickness: Array,
    span: float,
) -> float:
    """Sag of a bar of one material after its firing. [m]

    Viscous flow and creep each as if alone under the same moment, rates added: exact where one of
    them rules, a little too low where both do. Elastic deflection is left out.

    Parameters
    ----------
    time
        Shape (M,). [s]
    density
        Bulk, shape (M,). [kg/m³]
    viscosity
        Uniaxial, infinite where nothing flows, shape (M,). [Pa s]
    creep_factor
        Zero where nothing creeps, shape (M,). [1/(s Pa^n)]
    creep_exponent
        n. [-]
    thickness
        Of the bar as it shrinks, shape (M,). [m]
    span
        Between the supports. [m]
    """
    flows = sag_rate(density, 1.0 / viscosity, 1.0, thickness, span)
    creeps = sag_rate(density, creep_factor, creep_exponent, thickness, span)
    return float(np.trapezoid(flows + creeps, time))
