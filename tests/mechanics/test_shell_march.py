"""The compiled march against the plain one: the same steps, the same figures to round-off.

Expected: both take the same steps and the same iterations, since they follow the same rules in the
same order, so that nothing differs but the order of sums. Another count would be a wrong line in
one of them, and so would figures that part by more than 1e-9 of the largest of their kind, or than
a few times what the plain march itself does where its free strains are moved in their last digit:
round-off grows where a step ends at the verge of yield. The most was 7e-10 over forty layouts of
the shipped vessels on a search's mesh; 5e-8 (0.8 Pa) on the iron bowl on that of a check.
"""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace

import numpy as np
import pytest

from cofire.assessment.response import CHECK_STEPS, SEARCH_STEPS, meshed
from cofire.design.candidates import Bench
from cofire.errors import ModelError
from cofire.materials.catalogue import load_cards
from cofire.mechanics.integrator import Control, Record, march
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.properties import Mechanisms
from cofire.mechanics.shell import Shells, shells
from cofire.mechanics.shell_march import COMPILES, made_ready, marched
from cofire.physics.history import History
from cofire.vessel_file import read_vessel
from tests.histories import made_history

needs_a_compiler = pytest.mark.skipif(not COMPILES, reason="numba is not installed")
ROUND_OFF = 1e-9
GROWN = 30.0
"""Times what one last digit does: sums in another order change a few digits in many places."""
SHIPPED = ("silver_foot_vessel", "gold_foot_cup", "iron_foot_bowl")


def shipped(name: str, control: Control, fineness: float, points: int) -> tuple[Shells, History]:
    """A shipped vessel as it will be printed, ready to march."""
    vessel = read_vessel(f"examples/{name}.toml")
    bench = Bench(load_cards(), fineness=fineness)
    printed = bench.printed(vessel)
    cards = bench.used([printed])
    history = bench.history(printed.firing, cards)
    rows = [history.names.index(bench.material(band.material).name) for band in printed.bands]
    return shells([meshed(printed, fineness)], [rows], points=points), history


def assert_alike(one: Record, other: Record, moved: Record | None = None) -> None:
    assert (one.steps, one.rejected, one.iterations) == (
        other.steps,
        other.rejected,
        other.iterations,
    )
    for name in ("time", "unknowns", "strain", "stress", "inelastic"):
        plain, compiled = getattr(one, name), getattr(other, name)
        assert plain.shape == compiled.shape
        allowed = ROUND_OFF * np.abs(plain).max()
        if moved is not None:
            allowed = max(allowed, GROWN * np.abs(plain - getattr(moved, name)).max())
        assert np.abs(plain - compiled).max() <= allowed, name


def in_the_last_digit(history: History) -> History:
    """The same history with every free strain a last digit off, up or down."""
    up = np.random.default_rng(1).choice([-1.0, 1.0], history.free_strain.shape)
    eps = np.finfo(float).eps
    return replace(
        history, strain={name: part * (1.0 + eps * up) for name, part in history.strain.items()}
    )


@needs_a_compiler
@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize(
    ("control", "fineness", "points"),
    [(SEARCH_STEPS, 0.3, 3), (CHECK_STEPS, 1.0, 7)],
    ids=["rough", "usual"],
)
def test_a_compiled_march_is_the_plain_one(name, control, fineness, points):
    body, history = shipped(name, control, fineness, points)
    plain = march(body, history, control=control)
    assert plain.steps > 15
    moved = march(body, in_the_last_digit(history), control=replace(control, compiled=False))
    found = marched(body, history, control=replace(control, compiled=True))
    assert_alike(plain, found, moved if moved.steps == plain.steps else None)


@needs_a_compiler
@pytest.mark.parametrize("way", [f.name for f in fields(Mechanisms)])
def test_each_way_of_relief_can_be_switched_off_in_both(way):
    body, history = shipped("silver_foot_vessel", SEARCH_STEPS, 0.3, 3)
    without = Mechanisms(**{way: False})
    plain = march(body, history, control=SEARCH_STEPS, mechanisms=without)
    other = marched(body, history, control=SEARCH_STEPS, mechanisms=without)
    assert_alike(plain, other)
    whole = march(body, history, control=SEARCH_STEPS)
    assert whole.steps != plain.steps or not (whole.stress == plain.stress).all()


@needs_a_compiler
def test_a_wall_on_a_base_under_its_weight_marches_alike():
    time = np.linspace(0.0, 7200.0, 241)
    free = 4e-3 * np.outer([1.0, 0.4], np.sin(np.pi * time / 14400.0))
    history = made_history(
        time, free, viscosity=[1e14, 1e15], yield_stress=[4e6, np.inf], breakpoints=(120,)
    )
    mesh = mesh_meridian([0.0, 0.04, 0.05], [0.0, 0.0, 0.1], 0.004, [0.05])
    body = shells([mesh], [[0, 1]], weight_density=[[2000.0, 2400.0]])
    plain = march(body, history, control=CHECK_STEPS)
    assert plain.inelastic[:, 0].any()
    assert plain.inelastic[:, 2].any()
    assert_alike(plain, marched(body, history, control=replace(CHECK_STEPS, compiled=True)))


@needs_a_compiler
def test_where_one_finds_no_equilibrium_the_other_finds_none_either():
    time = np.linspace(0.0, 3600.0, 61)
    strain = np.stack([0.5 * time / 3600.0, -0.5 * time / 3600.0])
    history = made_history(time, strain, yield_stress=[1e3, 1e3])
    mesh = mesh_meridian([0.05, 0.05], [0.0, 0.1], 0.004, [0.05])
    body = shells([mesh], [[0, 1]])
    told = []
    for work, control in ((march, CHECK_STEPS), (marched, replace(CHECK_STEPS, compiled=True))):
        try:
            told.append(work(body, history, control=control).steps)
        except ModelError as error:
            told.append((type(error), str(error)))
    assert told[0] == told[1]


def test_what_the_compiled_march_does_not_know_is_marched_plainly():
    body, history = shipped("silver_foot_vessel", SEARCH_STEPS, 0.3, 3)
    plain = march(body, history, control=replace(SEARCH_STEPS, fixed_step=3600.0))
    other = marched(body, history, control=replace(SEARCH_STEPS, fixed_step=3600.0))
    assert (plain.stress == other.stress).all()


def test_whoever_works_compiles_and_not_who_waits() -> None:
    seen: list[int] = []
    with ThreadPoolExecutor(1, initializer=lambda: seen.append(threading.get_ident())) as pool:
        assert made_ready(pool) == COMPILES
    assert len(seen) == int(COMPILES)
    assert threading.get_ident() not in seen
