"""Pyrometric cone charts: at which temperature each cone bends, at which heating rate.

The shipped chart is an estimate by a rule, and no standard's. Its column at 60 °C/h lies between
the 20 and 150 °C/h of Fairchild & Peters 1926 (J. Am. Ceram. Soc. 9, 700; recalled), straight in
the logarithm of the rate, to 5 K. Its column at 150 °C/h is what one clock
(`cofire.physics.heatwork`) makes of that, with the median energy of their columns: 530 kJ/mol for
cones 018 to 012, 1050 kJ/mol from 011 on. Their own column at 150 °C/h lies within 15 K of it.
How sure a cone is: ±15 K from cone 1 on, ±25 K below (Geller & Pressler 1926, same volume, 744,
abstract). Cones below 018 are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.errors import InputError
from cofire.files import Place, bundled_tables, cell_number, read_rows, show
from cofire.units import HOUR, kelvin

COLUMNS = ("cone", "rate_C_per_h", "temperature_C", "chart", "seen")


@dataclass(frozen=True)
class ConeChart:
    """One chart of N cones at R heating rates, coolest cone first.

    Attributes
    ----------
    chart
        Which chart. Charts of different makes, sizes and years differ for the same cone and rate,
        by some 20 K, so values of two charts never stand in one.
    cones
        Labels of the N cones, such as '04' or '6'.
    rates
        Heating rates over the last 100 K, rising, shape (R,). [K/s]
    bending_temperature
        At which the tip touches, shape (N, R). [K]
    seen
        Whether each cone's row was read in the chart (the others are from memory).
    """

    chart: str
    cones: tuple[str, ...]
    rates: NDArray[np.float64]
    bending_temperature: NDArray[np.float64]
    seen: tuple[bool, ...]


def read_cones(path: Place | None = None) -> ConeChart:
    """The cone chart in a table, by default the shipped one.

    Parameters
    ----------
    path : path, optional
        A table with the columns cone, rate_C_per_h, temperature_C, chart, seen.

    Returns
    -------
    ConeChart
        In SI.

    Raises
    ------
    InputError
        A column missing, a value that is no number, two charts in one table, a cone without a
        value at every rate or with two at one, or temperatures that do not rise with cone and rate.
    """
    path = bundled_tables().joinpath("cones.csv") if path is None else path
    charts: dict[str, None] = {}
    cells: dict[str, dict[float, float]] = {}
    seen: dict[str, bool] = {}
    for place, row in read_rows(path, COLUMNS):
        cone, mark = row["cone"], row["seen"]
        if not 1 <= len(cone) <= 20 or not cone.isprintable():
            raise InputError(
                f"{place}, column cone: {show(cone)}; allowed: 1 to 20 characters, all seen"
            )
        rate = cell_number(row, "rate_C_per_h", place)
        temperature = cell_number(row, "temperature_C", place)
        if rate <= 0.0:
            raise InputError(f"{place}, column rate_C_per_h: {rate:g}; a rate is positive")
        if mark not in ("yes", "no"):
            raise InputError(f"{place}, column seen: {show(mark)}; allowed are 'yes' and 'no'")
        if rate in cells.setdefault(cone, {}):
            raise InputError(f"{place}: cone {cone} at {rate:g} °C/h stands here a second time")
        charts[row["chart"]] = None
        cells[cone][rate] = temperature
        seen[cone] = seen.get(cone, True) and mark == "yes"
    if not cells:
        raise InputError(f"{path}: no cones")
    if len(charts) > 1:
        raise InputError(
            f"{path}: {len(charts)} charts in one table ({', '.join(map(show, [*charts][:2]))}); "
            "keep one"
        )

    rates = sorted({rate for values in cells.values() for rate in values})
    for cone, values in cells.items():
        absent = [f"{rate:g}" for rate in rates if rate not in values]
        if absent:
            listed = ", ".join(absent[:5]) + ", ..." * (len(absent) > 5)
            raise InputError(f"{path}: cone {cone}: no temperature at {listed} °C/h")
    bending = np.array([[values[rate] for rate in rates] for values in cells.values()])
    for axis, along in ((0, "from cone to cone"), (1, "with the rate")):
        if np.any(np.diff(bending, axis=axis) <= 0.0):
            raise InputError(
                f"{path}: temperatures do not rise {along}; put the coolest cone first"
            )
    return ConeChart(
        chart=next(iter(charts)),
        cones=tuple(cells),
        rates=np.array(rates) / HOUR,
        bending_temperature=kelvin(bending),
        seen=tuple(seen.values()),
    )
