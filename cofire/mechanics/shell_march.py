"""A shell marched by compiled code where that is asked for and can be had.

`Control(compiled=True)` asks for it; `shell_kernel` is what is compiled, with numba
(`pip install 'cofire[fast]'`). Without numba, and for what the compiled march does not know
(batches, added strain, given times, fixed steps), `integrator.march` does the work. The two agree
to round-off (`tests/mechanics/test_shell_march.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from typing import TYPE_CHECKING

import numpy as np

from cofire.errors import ModelError
from cofire.mechanics.integrator import (
    Control,
    Record,
    march,
    no_equilibrium,
    no_start,
    refuse_unknown,
    stops_of,
)
from cofire.mechanics.law import UNSETTLED
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.properties import Levels, MaterialTable, material_table
from cofire.mechanics.shell import Shells, shells
from cofire.physics.history import History
from cofire.workers import each

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from cofire.mechanics.properties import Mechanisms
    from cofire.numerics import Array


COMPILES = find_spec("numba") is not None
"""Whether there is a compiler."""


def made_ready(executor: Executor | None = None) -> bool:
    """Whether the compiled march is there, compiled anew where no earlier run has left it.

    Compiling takes some twenty seconds of a core, once for a version of this package, numba and
    processor; numba keeps what it made beside the package or in the user's cache folder. Whoever
    hands work to processes calls this first, so that they find it there and each need not make its
    own.

    Parameters
    ----------
    executor : Executor, optional
        Who makes it, while the caller waits: an interrupt of the compiler itself may be lost in
        what the compiler calls back, and is answered only after a step that may take seconds.
    """
    if COMPILES:
        list(each(_made, [None], executor))
    return COMPILES


def _made(_: None) -> None:
    """March of a ring to which nothing happens."""
    mesh = mesh_meridian([0.05, 0.05], [0.0, 0.05], 0.005)
    marched(shells([mesh], [[0]], points=3), _at_rest(), control=Control(compiled=True))


def _at_rest() -> History:
    """A history in which nothing happens."""
    still, one = np.zeros((1, 2)), np.ones((1, 2))
    return History(
        names=("at rest",),
        time=np.array([0.0, 1.0]),
        temperature=np.full(2, 300.0),
        breakpoints=np.zeros(0, dtype=np.intp),
        strain={"thermal": still},
        relative_density=one,
        mass_fraction=one,
        water_lost=still,
        young_modulus=1e9 * one,
        poisson_ratio=np.zeros(1),
        viscosity=np.inf * one,
        viscous_poisson_ratio=still,
        creep_factor=still,
        creep_exponent=np.ones(1),
        yield_stress=np.inf * one,
        strength=one,
    )


def marched(
    body: Shells,
    history: History,
    *,
    mechanisms: Mechanisms | None = None,
    control: Control | None = None,
    added_strain: Callable[[float], Array] | None = None,
) -> Record:
    """Record of shells through the whole trace, compiled where that is asked for and can be had.

    Parameters
    ----------
    body
        The shells.
    history
        Histories of their materials.
    mechanisms
        Ways of relief in use; all of them if not given.
    control
        Tolerances and steps, and whether to compile.
    added_strain
        As in `march`. [-]

    Raises
    ------
    InputError, ModelError
        As `march`.
    """
    control = control or Control()
    simple = control.fixed_step is None and control.times is None and control.follow == np.inf
    alone = len(body.meridians) == 1 and added_strain is None
    if not (control.compiled and simple and alone and COMPILES):
        return march(
            body, history, mechanisms=mechanisms, control=control, added_strain=added_strain,
            levels=body.levels,
        )  # fmt: skip
    table = material_table(history, mechanisms).between(body.levels)
    if body.levels is None:
        refuse_unknown(body.material, history)
    return _compiled(body, history, table, control)


def _compiled(body: Shells, history: History, table: MaterialTable, control: Control) -> Record:
    """The same for one shell."""
    from cofire.mechanics import shell_kernel as kernel

    g, held = body.geometry, body.held
    shape, points = held.shape, body.material.shape

    def own(values: Array, axis: int = 0) -> Array:
        return np.ascontiguousarray(values.take(0, axis=axis), dtype=np.float64)

    rows = np.arange(len(history.names))
    levels = table.levels or Levels(rows, rows, np.zeros(rows.size))
    stops, sharp = zip(*stops_of(history, table, control), strict=True)
    found = kernel.march_shell(
        kernel.Body(
            operator=own(g.operator),
            transposed=own(g.transposed),
            factor=own(g.factor, 1),
            share=own(g.share, 1),
            moment=own(g.moment, 1),
            stiffness_map=own(g.stiffness_map),
            load=np.ascontiguousarray(body.load.ravel()),
            free=(~held).ravel().astype(np.float64),
            material=np.ascontiguousarray(body.material.ravel()),
            upper=np.ascontiguousarray(g.jump.upper),
            from_below=np.ascontiguousarray(g.jump.from_below),
            from_above=np.ascontiguousarray(g.jump.from_above),
        ),
        kernel.Table(
            time=np.ascontiguousarray(table.time),
            values=np.ascontiguousarray(table.values),
            slopes=np.ascontiguousarray(table.slopes),
            bends=np.ascontiguousarray(table.bends),
            flowing=np.ascontiguousarray(table.flowing),
            viscous=table.mechanisms.viscous,
            lower=np.ascontiguousarray(levels.lower),
            upper=np.ascontiguousarray(levels.upper),
            share=np.ascontiguousarray(levels.share),
        ),
        kernel.Limits(
            float(control.relative_tolerance),
            float(control.stress_tolerance),
            float(control.imbalance),
            float(control.longest_step),
        ),
        np.array(stops),
        np.array(sharp),
    )
    if found.ended == kernel.NO_FLOW:
        raise ModelError(UNSETTLED)
    if found.ended == kernel.NONE_AT_START:
        raise no_start(found.at)
    if found.ended == kernel.UNBALANCED:
        raise no_equilibrium(found.at, found.step)
    steps = len(found.time)
    return Record(
        time=found.time[:, 0].copy(),
        unknowns=found.unknowns.reshape(steps, *shape),
        strain=found.strain.reshape(steps, 3, *points),
        stress=found.stress.reshape(steps, 3, *points),
        inelastic=found.inelastic.reshape(steps, 3, 3, *points),
        step_error=found.time[:, 1].copy(),
        steps=steps - 1,
        rejected=found.rejected,
        iterations=found.iterations,
    )
