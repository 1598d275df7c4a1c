"""Bands and firing of a plan as tables and as a firing file."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.firing import FULL, Firing, Kiln, Segment
from cofire.inputs.units import HOUR, MINUTE, celsius
from cofire.inputs.vessel import Vessel
from cofire.output.vessel_file import toml_value

Array = NDArray[np.float64]


def rate_text(segment: Segment) -> str:
    """Ramp of a segment in °C/h, or "full". [°C/h]

    Parameters
    ----------
    segment : Segment
        The segment.

    Returns
    -------
    str
        As a firing file has it.
    """
    return f"{segment.rate * HOUR:.0f}" if segment.rate < float("inf") else FULL


def bands_csv(vessel: Vessel) -> str:
    """Bands from the foot up, in the fired size and in layers of the printer.

    Parameters
    ----------
    vessel : Vessel
        With its bands.

    Returns
    -------
    str
        Columns band, material, from_mm, to_mm.
    """
    lines = ["band,material,from_mm,to_mm"]
    for n, band in enumerate(vessel.bands, 1):
        name = band.material.replace('"', '""')
        lines.append(f'{n},"{name}",{band.low * 1e3:.2f},{band.high * 1e3:.2f}')
    return "\n".join(lines) + "\n"


def firing_csv(firing: Firing, reasons: dict[int, str] | None = None) -> str:
    """Segments as the kiln is told.

    Parameters
    ----------
    firing : Firing
        The firing.
    reasons : dict, optional
        Why, by index of the segment.

    Returns
    -------
    str
        Columns segment, rate_C_per_h, to_C, hold_min, why.
    """
    lines = ["segment,rate_C_per_h,to_C,hold_min,why"]
    for n, s in enumerate(firing.segments):
        why = (reasons or {}).get(n, "").replace('"', "'")
        lines.append(
            f'{n + 1},{rate_text(s)},{celsius(s.target):.0f},{s.hold / MINUTE:.0f},"{why}"'
        )
    return "\n".join(lines) + "\n"


def firing_toml(firing: Firing, kilns: Collection[str] = ()) -> str:
    """The firing as a file that cofire reads.

    Parameters
    ----------
    firing : Firing
        The firing.
    kilns : collection of str
        Names of the kilns that may be named; any other is written out.

    Returns
    -------
    str
        TOML.
    """
    lines = [
        f"name = {toml_value(firing.name)}",
        f'gas = "{firing.gas}"',
        f"lag_min = {firing.lag / MINUTE:g}",
    ]
    if firing.kiln.name in kilns:
        lines.insert(1, f"kiln = {toml_value(firing.kiln.name)}")
    else:
        lines += _kiln_rows(firing.kiln)
    for s in firing.segments:
        rate = f"{s.rate * HOUR:.6g}" if s.rate < float("inf") else '"full"'
        lines += [
            "",
            "[[segment]]",
            f"to_C = {celsius(s.target):.6g}",
            f"rate_C_per_h = {rate}",
            f"hold_min = {s.hold / MINUTE:.6g}",
        ]
    return "\n".join(lines) + "\n"


def _kiln_rows(kiln: Kiln) -> list[str]:
    """A kiln as a table of its firing file."""

    def numbers(values: Array) -> str:
        return "[" + ", ".join(f"{value:.6g}" for value in values) + "]"

    rows = [
        "",
        "[kiln]",
        f"name = {toml_value(kiln.name)}",
        f"max_temperature_C = {celsius(kiln.max_temperature):.6g}",
    ]
    if kiln.source:
        rows.append(f"source = {toml_value(kiln.source)}")
    for name, temperature, rate in (
        ("heating", kiln.heating_temperature, kiln.heating_rate),
        ("cooling", kiln.cooling_temperature, kiln.cooling_rate),
    ):
        rows += [
            "",
            f"[kiln.{name}]",
            f"temperature_C = {numbers(celsius(temperature))}",
            f"rate_C_per_h = {numbers(rate * HOUR)}",
        ]
    return rows
