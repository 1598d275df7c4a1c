"""A small vessel fired once for many tests, and changes to what came of it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from cofire.assessment import response as firing_of_vessels
from cofire.assessment.check import Check
from cofire.assessment.response import Response, fire_vessel
from cofire.assessment.rule import Flag
from cofire.assessment.verdict import RULES, Verdict, judge
from cofire.firing.program import load_kilns
from cofire.materials.catalogue import load_cards
from cofire.mechanics.integrator import Control
from cofire.mechanics.shell_firing import ShellFiring
from cofire.mechanics.solid_mesh import SolidMesh
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel

CARDS = load_cards()
KILNS = load_kilns()
COARSE = Control(
    relative_tolerance=3e-2, stress_tolerance=1e5, breakpoint_tolerance=1e-3, compiled=True
)
SILVER, FRIT = 0, 1  # rows and bands of the tea-light vessel
TEA_LIGHT = """
name = "tea-light"
[profile]
shape = "cylinder"
radius_mm = 35
height_mm = 60
wall_mm = 4
[[band]]
material = "fine silver"
to_mm = 18
[[band]]
material = "fritted body"
[firing]
segment = [
  { to_C = 420, rate_C_per_h = 60, hold_min = 60 },
  { to_C = 860, rate_C_per_h = 150, hold_min = 75 },
  { to_C = 450, rate_C_per_h = 50 },
]
"""


def written_vessel(text: str, profile: str = "") -> Vessel:
    """The vessel of a file with this text, and of profile.csv beside it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "vessel.toml"
        path.write_text(text, encoding="utf-8")
        path.with_name("profile.csv").write_text(profile, encoding="utf-8")
        return read_vessel(path, KILNS)


@cache
def tea_light() -> Response:
    """A silver foot on a fritted body, fired in air; coarse, as only its arrays are needed."""
    return fire_vessel(written_vessel(TEA_LIGHT), CARDS, control=COARSE, fineness=0.5)


@contextmanager
def rough_solids() -> Iterator[pytest.MonkeyPatch]:
    """Solids of checks with half the elements across the wall: a half of the time."""
    with pytest.MonkeyPatch.context() as patch:
        known = firing_of_vessels.mesh_solid
        patch.setattr(firing_of_vessels, "mesh_solid", partial(_mesh_roughly, known))
        yield patch


def _mesh_roughly(mesh: Callable[..., SolidMesh], *given: Any, **more: Any) -> SolidMesh:
    return mesh(*given, **{**more, "across": 4})


def changed(response: Response, **history: NDArray[np.float64]) -> Response:
    """The response with some rows of its history replaced, broadcast to their shape."""
    shaped = {
        name: np.broadcast_to(value, getattr(response.history, name).shape).copy()
        for name, value in history.items()
    }
    return replace(response, history=replace(response.history, **shaped))


def pulled(response: Response, stress: NDArray[np.float64]) -> Response:
    """The response with a stress that broadcasts to (T, G, P, 2), and no local field."""
    shell = response.fired
    whole = np.broadcast_to(stress, shell.stress.shape).copy()
    largest = whole.max(axis=(1, 2, 3))[:, None, None]
    steps = replace(shell.steps, peak=np.broadcast_to(largest, shell.steps.peak.shape))
    quiet = retold(shell, stress=whole, local=np.zeros_like(whole), steps=steps)
    return replace(response, fired=quiet)


def retold(shell: ShellFiring, **other: Any) -> ShellFiring:
    """A shell's firing with other values, `local` and `steps` among them."""
    near = {name: other.pop(name, getattr(shell, name)) for name in ("local", "steps")}
    return replace(shell, near=SimpleNamespace(mesh_error=shell.mesh_error, **near), **other)


def only(flags: list[Flag], rule: str, zone: str) -> Flag:
    (found,) = [flag for flag in flags if (flag.rule, flag.zone) == (rule, zone)]
    return found


def flags_of(response: Response, *names: str) -> list[Flag]:
    """Flags of the rules of these names."""
    return [flag for rule in RULES if rule.name in names for flag in rule.flags(response)]


def sharply(response: Response, verdict: Verdict | None = None) -> Check:
    """A check in which no changeover counts."""
    verdict = judge(response) if verdict is None else verdict
    return Check(response.vessel, response.cards, response, verdict)
