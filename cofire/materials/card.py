"""A material card: every number with its unit, uncertainty, source and how it is known."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, wraps
from typing import TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike

from cofire.display import small_table
from cofire.errors import InputError, OutOfRange, UnknownName
from cofire.materials.properties import AFTER_BARS, ALONG_THE_FIRING, LOG_VISCOSITY, SPECS
from cofire.numerics import Array, ShapePreserving, by_content
from cofire.units import ROOM, celsius, kelvin

T = TypeVar("T")

LEAST_LEFT = 0.2
"""Of an uncertainty, by any bar. [-]"""
NOUGHT = 1e-12
"""Stands for a value of nought where an uncertainty is taken relative to it. [SI unit]"""


@dataclass(frozen=True)
class Uncertainty:
    """One standard uncertainty: relative ("%"), absolute ("+-", SI) or a factor ("factor")."""

    form: str
    size: float

    def relative(self, value: ArrayLike) -> Array:
        """Standard uncertainty over the value (of its logarithm, for a factor).

        Parameters
        ----------
        value : array_like
            Value it belongs to. [SI unit of the property]

        Returns
        -------
        array
            Relative standard uncertainty; of a value of nought that of `NOUGHT`. [-]
        """
        value = np.asarray(value, dtype=np.float64)
        if self.form == "%":
            return np.full_like(value, self.size)
        if self.form == "factor":
            return np.full_like(value, np.log(self.size))
        return np.asarray(self.size / np.maximum(np.abs(value), NOUGHT), dtype=np.float64)

    def absolute(self, value: ArrayLike) -> Array:
        """Standard uncertainty of the value itself (of a factor, to first order).

        Parameters
        ----------
        value : array_like
            Value it belongs to. [SI unit of the property]

        Returns
        -------
        array
            Same shape; nought where it is a share of a value of nought. [SI unit of the property]

        Examples
        --------
        >>> Uncertainty("+-", 0.5).absolute(0.0).item(), Uncertainty("%", 0.1).absolute(-4.0).item()
        (0.5, 0.4)
        """
        value = np.asarray(value, dtype=np.float64)
        if self.form == "+-":
            return np.full_like(value, self.size)
        return np.asarray(self.relative(value) * np.abs(value))


@dataclass(frozen=True)
@by_content
class Property:
    """One property of one material, in SI; its arrays are read-only.

    Attributes
    ----------
    temperature
        Rows of a table, increasing, shape (R,); None for a single number. [K]
    value
        Shape (R,); a single number has one row. [SI unit of the property]
    uncertainty, source, basis
        One entry a row.
    at_density
        Relative density of the body it was measured on. [-]
    valid
        Coldest and hottest temperature at which a single number holds, where stated. [K]
    """

    name: str
    owner: str
    temperature: Array | None
    value: Array
    uncertainty: tuple[Uncertainty, ...]
    source: tuple[str, ...]
    basis: tuple[str, ...]
    at_density: float = 1.0
    unit: str = ""
    valid: tuple[float, float] | None = None

    @property
    def single(self) -> bool:
        """Whether it is one number, or a table of one row."""
        return self.temperature is None or self.temperature.size == 1

    @property
    def scalar(self) -> float:
        """The number, where the property is a single number."""
        return float(self.value[0])

    @cached_property
    def left_by_bars(self) -> float:
        """Share of its standard uncertainty that stays once its maker has measured own bars. [-]

        All of it where no bar tells the property, where it was measured so, and where it varies
        from batch to batch by more than the card allows for; a fifth at least (our choice).
        """
        if self.name not in AFTER_BARS or set(self.basis) == {"measured"}:
            return 1.0
        batch = Uncertainty(*AFTER_BARS[self.name])
        stated = sum(self._relative(u, row) ** 2 for row, u in enumerate(self.uncertainty))
        left = sum(self._relative(batch, row) ** 2 for row in range(self.value.size))
        return float(np.clip(np.sqrt(left / stated), LEAST_LEFT, 1.0)) if stated else 1.0

    def _relative(self, uncertainty: Uncertainty, row: int) -> float:
        """Standard uncertainty of one row over its value, not over its logarithm."""
        if SPECS[self.name].units is LOG_VISCOSITY:
            decades = uncertainty.form == "+-"
            return uncertainty.size * np.log(10.0) if decades else float(uncertainty.relative(1.0))
        return float(uncertainty.relative(self.value[row]))

    @property
    def written(self) -> tuple[Array, str]:
        """Its values in the unit of its file, and that unit, °C and all."""
        unit, factor = next(iter(SPECS[self.name].units.items()))
        if self.unit:
            unit, factor = self.unit, SPECS[self.name].units[self.unit]
        return (celsius(self.value), "°C") if unit == "C" else (self.value / factor, unit)

    def __repr__(self) -> str:
        value, unit = self.written
        rows = "" if self.temperature is None else f" over {self.temperature.size} temperatures"
        return f"<Property {self.name} of {self.owner!r}: {_span(value)} {unit}{rows}>"

    def at(self, temperature: ArrayLike, extend: bool = False) -> Array:
        """Value at temperature, by shape-preserving cubic interpolation between rows.

        Parameters
        ----------
        temperature : array_like
            Any shape. [K]
        extend : bool
            Hold the end rows' values outside the table instead of refusing; whoever asks for
            it says so in the result.

        Returns
        -------
        array
            Same shape. [SI unit of the property]

        Raises
        ------
        OutOfRange
            Outside the rows of the table, or the range in which a single number holds.
        """
        temperature = np.asarray(temperature, dtype=np.float64)
        if not extend:
            self.refuse_outside(temperature)
        if self.temperature is None or self.single:
            return np.full(temperature.shape, self.value[0])
        bounded = np.clip(temperature, self.temperature[0], self.temperature[-1])
        return self._curve.at(bounded)

    @cached_property
    def _curve(self) -> ShapePreserving:
        """Through the rows of a table."""
        assert self.temperature is not None
        return ShapePreserving.through(self.temperature, self.value)

    @property
    def reach(self) -> tuple[float, float]:
        """Coldest and hottest temperature the rows speak for. [K]

        A table that begins within 100 K of room temperature reaches down to it. A single number
        of a property that is read along the firing speaks for 20 °C, or its one row, alone unless
        it is said to be `valid` elsewhere; of any other property it holds at every temperature.
        """
        if self.valid is not None:
            return self.valid
        if self.single and self.name not in ALONG_THE_FIRING:
            return 0.0, np.inf
        if self.temperature is None:
            return ROOM, ROOM
        low, high = float(self.temperature[0]), float(self.temperature[-1])
        return (min(low, ROOM) if low <= ROOM + 100.0 else low), high

    def refuse_outside(self, temperature: Array) -> None:
        """Raise `OutOfRange` where a temperature lies outside the rows, or where one number holds.

        Parameters
        ----------
        temperature : array
            Any shape. [K]
        """
        if temperature.size == 0:
            return
        least, high = self.reach
        for bad in (float(temperature.min()), float(temperature.max())):
            if bad < least - 0.5 or bad > high + 1e-6:
                if self.single and self.valid is None:
                    raise OutOfRange(
                        f"{self.owner}: {self.name} asked at {celsius(bad):.0f} °C; it is a single "
                        "number. Add rows with their source, or valid_C = [coldest, hottest] "
                        "between which it holds."
                    )
                raise OutOfRange(
                    f"{self.owner}: {self.name} asked at {celsius(bad):.0f} °C; its rows cover "
                    f"{celsius(least):.0f}-{celsius(high):.0f} °C. Add a row with its source, "
                    "or fire within them."
                )


@dataclass(frozen=True)
class Transformation:
    """A phase change that strains the body: x · (step + change · (T − on_heating)).

    The share x of the high form follows the temperature with hysteresis: it grows around
    `on_heating` and shrinks around `on_cooling`, each over `width`. Temperatures in K.
    `in_table` says that the card's thermal_expansion already contains it (silica inversions do;
    a metal's table is that of its low form). `gases` are those in which it happens, all where none
    is named. One with `on_cooling` far below room temperature does not come back.
    """

    name: str
    on_heating: float
    on_cooling: float
    width: float
    step: float
    expansion_change: float = 0.0
    in_table: bool = False
    source: str = ""
    basis: str = "memory"
    gases: tuple[str, ...] = ()

    @property
    def comes_back(self) -> bool:
        """Whether it turns back above room temperature."""
        return self.on_cooling > ROOM

    @property
    def by_carbon(self) -> bool:
        """Whether it happens in carbon alone: by what the metal takes up of it."""
        return self.gases == ("carbon",)

    def later(self, temperature: float) -> Transformation:
        """The same with the heating branch not before a temperature, on the same two curves.

        Parameters
        ----------
        temperature : float
            [K]
        """
        late = max(temperature - self.on_heating, 0.0)
        step = self.step + self.expansion_change * late
        return replace(self, on_heating=self.on_heating + late, step=step)


@dataclass(frozen=True)
class FiredAt:
    """The firing that gives a card's `fired_density`: ramp, peak and hold in SI, and its gas.

    Empty where nobody said in which.
    """

    rate: float
    peak: float
    hold: float
    gas: str = ""


QUARTZ_STEP = 0.0045
"""Linear step of quartz at 573 °C: 0.45 % (Deer, Howie & Zussman class; encyclopaedia page). [-]"""
CRISTOBALITE_STEP = 0.011
"""Linear step of cristobalite near 226 °C: 0.9-1.4 %, from memory. [-]"""
INVERSION_SHARE = 0.8
"""Share of a grain's step that a body shows: 0.56 where the grain is as soft as quartz just below
573 °C, 1 where it is as stiff as its glass (Eshelby's sphere); our estimate between. [-]"""


REDUCING = ("carbon", "hydrogen")
"""Gases that reduce a body's iron oxide to FeO, a flux."""
PLAIN_GAS = "inert"
"""Gas of a card that nobody has put into one (`Card.in_gas`): as handbooks have it."""

GREEN, DENSE = "green", "dense"
"""States in which a body may come into the kiln."""


@dataclass(frozen=True)
@by_content
class Card:
    """One material, or a blend of two: a blend's `parts` are (metal, fraction), (ceramic, ...).

    `properties` maps a name of `cofire.materials.properties.SPECS` to its `Property`, read-only: a
    card is changed by making another (`scaled`, or `replace` of dataclasses). `arrives`
    tells how the body comes into the kiln: `GREEN`, as printed, or `DENSE`, already sintered,
    rolled or cast, so that it only expands, creeps and yields.
    `gas` is what surrounds it when hot (`in_gas`): of the transformations of a card only those of
    its gas count. Where a gas changes, that of the hottest part of the firing is meant.
    `like` names the card that gave what the file does not say; empty where the file says all.
    `pairs` is the table of pairs where a user's folder has one, carried for
    `cofire.materials.pairs`, which alone reads it; None for the shipped one.

    Examples
    --------
    >>> import cofire as cf
    >>> copper = cf.card("copper")
    >>> copper.kind, "solidus" in copper
    ('metal', True)
    >>> copper["solidus"]
    <Property solidus of 'copper': 1085 °C>
    >>> copper["thermal_expansion"].written[1]
    '1e-6/K'
    """

    name: str
    kind: str
    summary: str
    properties: Mapping[str, Property]
    densification: str = "master curve"
    elements: tuple[str, ...] = ()
    atmosphere: Mapping[str, str] = field(default_factory=dict)
    transformations: tuple[Transformation, ...] = ()
    fired_at: FiredAt | None = None
    refused: str = ""
    origin: str = ""
    parts: tuple[tuple[Card, float], ...] = ()
    like: str = ""
    arrives: str = GREEN
    gas: str = PLAIN_GAS
    pairs: object = field(default=None, repr=False)

    def __getitem__(self, name: str) -> Property:
        """Return the property, or raise UnknownName with the ones this card has."""
        if name not in self.properties:
            if name not in SPECS:
                raise UnknownName("property", name, SPECS)
            raise InputError(
                f"{self.origin or self.name}: {name}: missing; needed for this calculation "
                f"({SPECS[name].meaning})"
            )
        return self.properties[name]

    def __repr__(self) -> str:
        refused = ", refused" * bool(self.refused)
        return f"<Card {self.name!r}: {self.kind}{refused}, {len(self.properties)} properties>"

    def _repr_html_(self) -> str:
        """Each property with its unit and temperatures, how it is known, and its first source."""
        rows = (
            (
                p.name,
                _span(p.written[0]),
                p.written[1],
                SPECS[p.name].meaning,
                None if p.temperature is None else _span(celsius(p.temperature)),
                ", ".join(dict.fromkeys(p.basis)),
                p.source[0] if p.source else None,
            )
            for p in self.properties.values()
        )
        head = ("property", "value", "unit", "what it is", "rows at (°C)", "basis", "source")
        below = [self.summary, f"refused: {self.refused}" if self.refused else ""]
        return small_table(f"{self.name} ({self.kind})", head, rows, filter(None, below))

    def __contains__(self, name: str) -> bool:
        """Whether the card carries the property."""
        return name in self.properties

    def scalar(self, name: str, default: float | None = None) -> float:
        """The number of a property that does not depend on temperature.

        Parameters
        ----------
        name : str
            A name of SPECS.
        default : float, optional
            Given back where the card lacks the property. [SI unit of the property]

        Returns
        -------
        float
            Its value. [SI unit of the property]
        """
        if default is not None and name not in self.properties:
            return default
        return self[name].scalar

    @cached_property
    def inversions(self) -> tuple[Transformation, ...]:
        """Transformations in its gas, with those of the free silica the card states.

        What happens in carbon alone waits for the carbon: not before `carburised_at`.
        """
        silica = (
            ("quartz inversion", "free_quartz", 573.0, QUARTZ_STEP, 25.0),
            ("cristobalite inversion", "cristobalite", 226.0, CRISTOBALITE_STEP, 40.0),
        )
        found = [c for c in self.transformations if not c.gases or self.gas in c.gases]
        if "carburised_at" in self:
            at = self["carburised_at"].scalar
            found = [c.later(at) if c.by_carbon else c for c in found]
        for name, share, middle, step, width in silica:
            if self.scalar(share, 0.0) > 0.0:
                strain = self.scalar(share) * step * INVERSION_SHARE
                found.append(
                    Transformation(
                        name,
                        kelvin(middle),
                        kelvin(middle),
                        width,
                        strain,
                        in_table=True,
                        source=self[share].source[0],
                        basis=self[share].basis[0],
                    )
                )
        return tuple(found)

    def in_gas(self, gas: str) -> Card:
        """The same card as it is in a gas, its parts with it.

        Parameters
        ----------
        gas : str
            Around it in the hot part of its firing.
        """
        if gas == self.gas:
            return self
        if gas not in self._in_gases:
            parts = tuple((part.in_gas(gas), share) for part, share in self.parts)
            self._in_gases[gas] = replace(self, gas=gas, parts=parts)
        return self._in_gases[gas]

    @property
    def matures_lower(self) -> float:
        """How far below its heat in air the body matures in its gas: its iron fluxes. [K]"""
        return self.scalar("reduced_maturing", 0.0) if self.gas in REDUCING else 0.0

    @property
    def overfires_at(self) -> float:
        """A ceramic's firing ceiling in its gas. [K]"""
        in_air = self["firing_ceiling"].scalar
        if self.gas not in REDUCING:
            return in_air
        return min(self.scalar("reduced_ceiling", in_air - self.matures_lower), in_air)

    @cached_property
    def _in_gases(self) -> dict[str, Card]:
        """The same card in other gases, as far as it was asked for."""
        return {}

    @property
    def constituents(self) -> tuple[tuple[Card, float], ...]:
        """The metal and ceramic it is mixed of with their shares of volume; itself if it is none.

        Shares in [-].
        """
        return self.parts or ((self, 1.0),)

    @property
    def metal_share(self) -> float:
        """Metal, of its solid volume: 1 for a metal, 0 for a ceramic. [-]"""
        return self.parts[0][1] if self.parts else float(self.kind == "metal")

    @property
    def ceramic(self) -> Card | None:
        """The ceramic that gives it its scatter of strength: itself, a blend's part, or None."""
        return next((part for part, _ in self.constituents if part.kind == "ceramic"), None)

    def scaled(self, name: str, factor: float) -> Card:
        """The same card with one property multiplied, for sensitivity and tests.

        Parameters
        ----------
        name : str
            A property the card carries.
        factor : float
            Multiplier, applied to every row. [-]
        """
        changed = dict(self.properties)
        changed[name] = replace(self[name], value=self[name].value * factor)
        return replace(self, properties=changed)


def _span(values: Array) -> str:
    """Least and largest of some values, or the only one."""
    low, high = float(values.min()), float(values.max())
    return f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"


def once_a_card(found: Callable[[Card], T]) -> Callable[[Card], T]:
    """A function of one card and nothing else, whose result is kept with the card.

    Parameters
    ----------
    found : callable
        The function; its result is never changed by anyone.
    """
    name = f"{found.__module__}.{found.__qualname__}"

    @wraps(found)
    def kept(card: Card) -> T:
        known = card.__dict__
        if name not in known:
            known[name] = found(card)
        return cast("T", known[name])

    return kept


def pure_cards(cards: Iterable[Card]) -> dict[str, Card]:
    """Every metal and ceramic in some materials, those that only stand in a blend included.

    Parameters
    ----------
    cards : iterable of Card
        Blends or not.

    Returns
    -------
    dict
        By name, each once, in order of appearance.
    """
    return {part.name: part for card in cards for part, _ in card.constituents}
