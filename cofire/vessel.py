"""What a vessel is: profile, wall, bands, printer, limits and prices, and its firing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cofire.errors import InputError
from cofire.fields import BAND
from cofire.firing.program import Firing
from cofire.numerics import Array, by_content, chord_lengths

# ----------------------------------------------------------------------------------------------
# What the workshop gives: the printer, how pastes are mixed, and what things cost

BINDER = "binder"
"""Name under which the binder powder has its price."""


@dataclass(frozen=True)
class Printer:
    """What the printer lays, and how a change of paste smears in it.

    Attributes
    ----------
    layer
        Height of one layer: 0.3 mm, common practice. [m]
    dead_volume
        Paste between the place of the changeover and the nozzle; extrusion cannot stop. [m³]
    tanks
        How that paste mixes: 1 wholly, many not at all (stirred tanks in series). [-]
    nozzle
        Width of one road: 0.6 mm, common practice. [m]
    given
        Whether the vessel's file says so; only then does the verdict count its changeovers.
    """

    layer: float = 0.3e-3
    dead_volume: float = 2e-6
    tanks: float = 3.0
    nozzle: float = 0.6e-3
    given: bool = False


@dataclass(frozen=True)
class Mixing:
    """How pastes are mixed and weighed.

    Attributes
    ----------
    waste
        Paste lost in bowl, syringe and first lines, of that in the wall: 15 %, common practice. [-]
    scale
        Smallest step of the scale: 0.1 g, common practice. [kg]
    """

    waste: float = 0.15
    scale: float = 1e-4


@dataclass(frozen=True)
class Prices:
    """What powders and current cost, in one currency.

    Attributes
    ----------
    currency
        As it is to be printed; may be empty.
    powders
        Name of a material (or "binder") and its price. [currency/kg]
    energy
        Of current; 0 where not given. [currency/J]
    kiln_power
        At full power; 0 where not given. [W]
    time
        Of the kiln, from its start until the ware is cold; 0 where not given. [currency/s]
    """

    currency: str = ""
    powders: tuple[tuple[str, float], ...] = ()
    energy: float = 0.0
    kiln_power: float = 0.0
    time: float = 0.0


# ----------------------------------------------------------------------------------------------
# A vessel as a person writes it: profile, wall, bands of material by height, and its firing

THINNEST = 0.5e-3
"""Wall. [m]"""
TAPERED = 24
"""Points along each side of a taper. [-]"""
USUAL_MIXING = Mixing()
FIXED, AT_LEAST, FREE = BAND["height"].words
"""What a plan may do to the height of the lowest and the highest band, and of one in the middle."""


@dataclass(frozen=True)
class Band:
    """One material (or blend, as named) up to a height; the last one reaches the rim.

    Attributes
    ----------
    material
        By name; where it fades, what stands for the whole of it.
    low, high
        Between which it stands, of the fired vessel. [m]
    fade
        Heights, rising from `low` to `high`, and how much of the solids is metal at each, where
        that changes along it; empty where it does not. [m], [-]
    """

    material: str
    low: float
    high: float
    fade: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class JointLimits:
    """What a plan may do to the joint.

    Attributes
    ----------
    blends
        Most blends the user will mix. [-]
    height
        Tallest transition. [m]
    lowest, highest
        Where the middle of the transition may lie. [m]
    keep
        Least height of either pure zone that must remain. [m]
    foot, rim
        Whether the pure zone below and the one above are fixed in height, at least so high, or
        free: of one joint the lowest and the highest band, of two joints one of these and the band
        in the middle.
    foot_height, rim_height
        Their heights as written; count unless free. [m]
    low, high
        The stretch of the vessel in which the joint may be planned: from foot to rim where there is
        one joint; else it ends where the other joint begins. [m]
    """

    blends: int
    height: float
    lowest: float
    highest: float
    keep: float
    foot: str = FREE
    rim: str = FREE
    foot_height: float = 0.0
    rim_height: float = 0.0
    low: float = 0.0
    high: float = float("inf")


@dataclass(frozen=True)
class OpenFiring:
    """What a vessel's file says of a firing that it leaves open.

    Attributes
    ----------
    gas
        Empty where that is open too.
    lag
        None where it is that of the gas. [s]
    """

    gas: str = ""
    lag: float | None = None


@dataclass(frozen=True)
class Freedom:
    """What else than the joint a plan may choose.

    Attributes
    ----------
    dead_volume
        Least and most dead volume of the printer, by a chamber before the nozzle; empty where the
        printer is as it is. [m³]
    wall
        Thinnest and thickest wall of a cylinder; empty where it is as drawn. [m]
    outside
        Whether the outside keeps its place when the wall changes; else the middle does.
    roads
        Whether the wall is one of whole roads of the nozzle.
    materials
        Names of cards and fillers besides which none is offered; empty where all are.
    """

    dead_volume: tuple[float, ...] = ()
    wall: tuple[float, ...] = ()
    outside: bool = True
    roads: bool = False
    materials: tuple[str, ...] = ()


@dataclass(frozen=True)
class Taper:
    """A wall whose metal thins towards a joint; behind it the ceramic is soon at its own wall.

    Attributes
    ----------
    at
        Height of the joint. [m]
    least
        Breadth of the wall there, level. [m]
    length
        Over which the metal thins. [m]
    shoulder
        Over which the ceramic comes back to its wall. [m]
    below
        Whether the metal stands below.
    """

    at: float
    least: float
    length: float
    shoulder: float
    below: bool

    def left(self, height: Array) -> Array:
        """Share of what the wall is broader than `least` that is left, 0 at the joint. [-]

        Both ends of the metal's part are smooth; the ceramic's begins steeply and ends gently, as
        lines through a thick wall meet where it bends.

        Parameters
        ----------
        height : array
            Any shape. [m]

        Examples
        --------
        >>> rim = Taper(at=0.05, least=5e-4, length=0.02, shoulder=5e-3, below=False)
        >>> rim.left(np.array([0.04, 0.05, 0.06, 0.07])).round(3).tolist()
        [1.0, 0.0, 0.5, 1.0]
        """
        away = (self.at - height) * (1.0 if self.below else -1.0)
        metal = np.clip(away / self.length, 0.0, 1.0)
        ceramic = np.clip(-away / self.shoulder, 0.0, 1.0)
        return np.asarray(
            metal**2 * (3.0 - 2.0 * metal) + 1.0 - (1.0 - ceramic) ** 3 * (1.0 + 3.0 * ceramic)
        )


@dataclass(frozen=True)
@by_content
class Vessel:
    """A shell of revolution made of bands, in its fired size; its arrays are read-only.

    Attributes
    ----------
    radius, height
        Points of the mid-surface from the foot (or the axis, with a base) to the rim, (P,). [m]
    wall
        Thickness at those points, (P,). [m]
    corners
        Indices of points where the profile turns sharply.
    bands
        From the lowest up.
    firing
        The firing it is to have; without segments until one is chosen, where the file has none.
    printer
        What the printer can lay.
    joint
        What a plan may change; of two joints, at the lower one.
    mixing
        How its pastes are mixed.
    prices
        What things cost, if the file says so.
    left_open
        What the file says of its firing where it has none, and its own window is taken; a plan that
        chooses a firing leaves it out.
    free
        What else a plan may choose.
    upper
        What a plan may change at the upper joint, where a band stands in the middle; else None.
    tables
        Folders of the user's own material tables that it is judged by, later ones first in right.

    Examples
    --------
    >>> import cofire as cf
    >>> vase = cf.example_vessel()
    >>> vase.name, [round(1e3 * float(height)) for height in vase.steps]
    ('vase to try', [25])
    """

    name: str
    radius: Array
    height: Array
    wall: Array
    corners: tuple[int, ...]
    bands: tuple[Band, ...]
    firing: Firing
    printer: Printer
    joint: JointLimits
    mixing: Mixing = USUAL_MIXING
    prices: Prices | None = None
    left_open: OpenFiring | None = None
    free: Freedom = Freedom()
    upper: JointLimits | None = None
    tables: tuple[Path, ...] = ()

    @property
    def stretch(self) -> tuple[float, float]:
        """Between which heights its joint may be planned. [m]"""
        return self.joint.low, min(self.joint.high, float(self.height[-1]))

    def with_wall(self, wall: float) -> Vessel:
        """The same vessel with another wall, thicker or thinner by one factor all over its side.

        The outside keeps its place, or the middle where the file says so; the base keeps its own
        thickness.

        Parameters
        ----------
        wall : float
            At the rim. [m]
        """
        r, z, old = self._side
        breadth = old / np.cos(leans(r, z))
        return self._with_side(r, z, breadth, breadth / old[-1] * wall)

    def with_taper(self, taper: Taper) -> Vessel:
        """The same vessel with its wall thinned towards a joint; its base keeps its own.

        The outside keeps its place, or the middle where the file says so. The wall gets points of
        its own along the taper, so that mesh and print follow it.

        Parameters
        ----------
        taper : Taper
            Where, how thin and over what length; where the wall is thinner already it stays.

        Raises
        ------
        InputError
            A taper thinner than any wall may be, or off the vessel.
        """
        top = float(self.height[-1])
        if taper.least < THINNEST or not 0.0 < taper.at < top:
            raise InputError(
                f"{self.name}: a wall of {1e3 * taper.least:.2g} mm at {1e3 * taper.at:.4g} mm; "
                f"allowed: {1e3 * THINNEST:g} mm or more, between 0 and {1e3 * top:.4g} mm"
            )
        r, z, wall = self._side
        chord = chord_lengths(r, z)
        curve = curve_through(chord, r, z)
        fine = np.linspace(0.0, chord[-1], TAPERED * z.size + 4000)
        down, up = taper.length, taper.shoulder
        low, high = (down, up) if taper.below else (up, down)
        wanted = np.concatenate(
            [
                np.arange(z[0], z[-1], taper.length / 4.0),
                taper.at - low * np.linspace(1.25, 0.0, TAPERED),
                taper.at + high * np.linspace(0.0, 1.25, TAPERED),
            ]
        )
        inside = wanted[(wanted > z[0]) & (wanted < z[-1])]
        place = np.unique(np.concatenate([chord, np.interp(inside, curve(fine)[:, 1], fine)]))
        apart = np.concatenate([[True], np.diff(place) > 0.02 * min(taper.shoulder, taper.length)])
        place = np.append(place[apart][place[apart] < chord[-1] - 1e-6], chord[-1])
        points = curve(place)
        r_new, z_new = points[:, 0], points[:, 1]
        breadth = np.interp(place, chord, wall) / np.cos(leans(r_new, z_new))
        thin = np.minimum(breadth, taper.least + (breadth - taper.least) * taper.left(z_new))
        return self._with_side(r_new, z_new, breadth, thin)

    @property
    def _side(self) -> tuple[Array, Array, Array]:
        """Radius, height and wall at the points of the side, without the middle of a base. [m]"""
        side = slice(1, None) if self.radius[0] == 0.0 else slice(None)
        return self.radius[side], self.height[side], self.wall[side]

    def _with_side(self, radius: Array, height: Array, breadth: Array, wanted: Array) -> Vessel:
        """The same base under another side, whose level breadth is changed where the file has it.

        `radius` is that of the middle before the change.
        """
        radius = radius + (0.5 * (breadth - wanted) if self.free.outside else 0.0)
        wall = wanted * np.cos(leans(radius, height))
        base = int(self.radius[0] == 0.0)
        return replace(
            self,
            radius=np.concatenate([self.radius[:base], radius]),
            height=np.concatenate([self.height[:base], height]),
            wall=np.concatenate([self.wall[:base], wall]),
        )

    @property
    def drawn(self) -> tuple[Array, Array, Array]:
        """Height, outside radius and wall normal to it at the points of the side, as a file has it.

        Of a file whose radius is that of the middle, the middle and the wall normal to that. [m]
        """
        r, z, wall = self._side
        if not self.free.outside:
            return z, r, wall
        breadth = wall / np.cos(leans(r, z))
        outside = r + 0.5 * breadth
        return z, outside, breadth * np.cos(leans(outside, z))

    @property
    def chord(self) -> Array:
        """Length along the profile from its first point to each, (P,). [m]"""
        return chord_lengths(self.radius, self.height)

    def volumes(self, place: Array) -> Array:
        """Volume of wall between neighbouring places; a floor is as thick all over, (N - 1,). [m³]

        Parameters
        ----------
        place : array
            Lengths along the profile, rising, shape (N,), the profile's own points among them. [m]
        """
        chord = self.chord
        radius, wall = (np.interp(place, chord, row) for row in (self.radius, self.wall))
        below, above = radius[:-1] * wall[:-1], radius[1:] * wall[1:]
        if self.radius[0] == 0.0:
            floor = place[1:] <= chord[1]
            below = np.where(floor, radius[:-1] * self.wall[0], below)
            above = np.where(floor, radius[1:] * self.wall[0], above)
        return np.asarray(np.pi * (below + above) * np.diff(place))

    @property
    def steps(self) -> Array:
        """Heights at which one band meets the next, (bands - 1,). [m]"""
        return np.array([band.high for band in self.bands[:-1]])

    def __repr__(self) -> str:
        wide = 1e3 * float((2.0 * self.radius + self.wall).max())
        high = 1e3 * float(self.height[-1])
        bands = ", ".join(band.material for band in self.bands[:3])
        more = f" and {len(self.bands) - 3} more" * (len(self.bands) > 3)
        return (
            f"<Vessel {self.name!r}: {wide:.0f} mm wide, {high:.0f} mm high, "
            f"from the foot {bands}{more}; {self.firing.name!r}>"
        )


def curve_through(chord: Array, radius: Array, height: Array) -> Callable[[Array], Array]:
    """Radius and height along the curve through points: a line through two, else a spline. [m]"""
    points = np.stack([radius, height], axis=1)
    if radius.size == 2:
        return lambda place: points[0] + np.outer(place / chord[-1], points[1] - points[0])
    from scipy.interpolate import CubicSpline  # slow to import; a straight wall needs none

    return CubicSpline(chord, points)  # type: ignore[no-any-return]


def leans(radius: Array, height: Array) -> Array:
    """Lean from upright at the points of a smooth curve. [rad]"""
    if radius.size == 2:
        return np.full(2, np.arctan2(np.diff(radius)[0], np.diff(height)[0]))
    from scipy.interpolate import CubicSpline  # as above

    along = chord_lengths(radius, height)
    slope = CubicSpline(along, np.stack([radius, height], axis=1))(along, 1)
    return np.asarray(np.arctan2(*slope.T))


def is_blend(material: str) -> bool:
    """Whether a band names a blend, and no pure paste.

    Parameters
    ----------
    material : str
        As a band names it.

    Examples
    --------
    >>> is_blend("copper + talc body = 40"), is_blend("copper")
    (True, False)
    """
    return "=" in material or "+" in material
