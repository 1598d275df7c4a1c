"""The march of one shell through its firing, written out point by point so as to be compiled.

The same method as `integrator.march` on `shell.Shells` with the law of `law`, in the same order,
and held to it by the tests to round-off; those three say why, this only says it again in loops.
Without numba (`pip install 'cofire[fast]'`) it is plain Python, which is slow and not used.

An answer of the law at n points is one array of `ROWS` rows: stress 0 to 2, trial strain 3 to 5 and
stress 6 to 8 by mode, ln λ 9, λ 10, compliance 11 to 13, rate 14 to 16, softness 17, yielding 18;
and a few marks: whether it flows, whether a point yields, its flow time, and whether it was given.

It stands in one module, and takes no constant from another: what numba keeps of a compiled function
is made anew when its own file changes, and not when one does from which it calls or reads.

What it costs to compile grows with every place from which a function is called and with every
array expression: hence plain loops, and searches written as one loop with a phase.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from typing import Any, NamedTuple, ParamSpec, TypeVar

import numpy as np
from numpy.typing import NDArray

P = ParamSpec("P")
R = TypeVar("R")
Array = NDArray[np.float64]
Indices = NDArray[np.intp]

njit: Any = import_module("numba").njit if find_spec("numba") else None  # else it is not used
ROWS = 19
"""Of an answer. [-]"""
DONE, NONE_AT_START, UNBALANCED, NO_FLOW = range(4)
"""How a march ends."""
_FLOWS, _YIELDS, _TIME, _GIVEN = range(4)  # marks of an answer
_CREEPS, _CAN_YIELD = range(2)  # marks of a stage
_STRANGER, _OWN = 0.0, 1.0  # whether an answer close by is of the same stage
_AT_FIRST, _RESTARTED, _PLAIN, _SEARCHING, _SAME_TANGENT = range(5)  # of a search for equilibrium
_START, _STEP, _STILL, _MIDDLE, _LAST = range(5)  # what the march solves for next
_BAND = 8
_HALF = math.sqrt(0.5)
_LEFT = 0.25  # of the imbalance allowed, that all further changes at the rate seen may come to
_SMALLEST_SQUARE = 1.0e-6**2
_GAMMA = 1.0 - math.sqrt(0.5)
_ONWARD = 0.25 * math.sqrt(2.0) / _GAMMA
_SHORTEST_STEP = 1.0e-9  # over the whole time
_DOUBT = (-(math.sqrt(2.0) - 1.0) / 3.0, 1.0 / 3.0, -(2.0 - math.sqrt(2.0)) / 3.0)


class Body(NamedTuple):
    """One shell of E elements, G = 2E stations and P points, as `shell.Geometry` and `Shells`."""

    operator: Array  # (E, 12, 9)
    transposed: Array  # (E, 9, 10)
    factor: Array  # (6, P, G)
    share: Array  # (5, P, G)
    moment: Array  # (15, P, G)
    stiffness_map: Array  # (E, 30, 45)
    load: Array  # (U,), U = 6 E + 3
    free: Array  # (U,)
    material: Indices  # (P G,)
    upper: Indices  # (J,)
    from_below: Array  # (J, 9)
    from_above: Array  # (J, 9)


class Table(NamedTuple):
    """Of `properties.MaterialTable`."""

    time: Array
    values: Array
    slopes: Array
    bends: Array
    flowing: Indices
    viscous: bool
    lower: Indices  # (L,), of `properties.Levels`: each material once, or levels between them
    upper: Indices  # (L,)
    share: Array  # (L,)


class Limits(NamedTuple):
    """Of `integrator.Control`."""

    relative: float
    absolute: float
    imbalance: float
    longest: float


class Stage(NamedTuple):
    """The law at one instant at n points, see `law.Stage`."""

    compliance: Array  # (3, n)
    viscous: Array  # (3, n)
    log_creep: Array
    power: Array
    ceiling: Array
    yield_squared: Array
    free: Array
    flow_time: float
    marks: Indices


class Marched(NamedTuple):
    """What the march leaves: how it ended, when and with which step, and S instants."""

    ended: int
    at: float
    step: float
    time: Array  # and error, (S, 2)
    unknowns: Array
    strain: Array
    stress: Array
    inelastic: Array
    rejected: int
    iterations: int


def compiled(work: Callable[P, R]) -> Callable[P, R]:
    """The same function, compiled where there is a compiler, and kept for the next run.

    Parameters
    ----------
    work : callable
        Of plain numbers and arrays. [any]
    """
    if njit is None:
        return work
    try:
        found: Callable[P, R] = njit(cache=True, error_model="numpy")(work)
    except RuntimeError:  # no folder to keep it in
        found = njit(error_model="numpy")(work)
    return found


@compiled
def _stage(table: Table, material: Indices, time: float, flow_time: float) -> Stage:
    """`MaterialTable.at` and `law.prepare`."""
    last = table.time.size - 2
    j = min(max(int(np.searchsorted(table.time, time, side="right")) - 1, 0), last)
    x = time - table.time[j]
    kinds, n = table.lower.size, material.size
    compliance, viscous = np.empty((3, kinds)), np.zeros((3, kinds))
    log_creep, power = np.empty(kinds), np.zeros(kinds)
    limit, square, free = np.empty(kinds), np.empty(kinds), np.empty(kinds)
    creeps, yields, row = False, False, np.empty(8)
    for k in range(kinds):
        low, high, way = table.lower[k], table.upper[k], table.share[k]
        inside = min(max(way, 0.0), 1.0)
        for i in range(8):
            row[i] = table.values[j, i, low] + x * table.slopes[j, i, low]
        free[k] = row[0] + x * x * (table.bends[j, 0, low] + x * table.bends[j, 1, low])
        if high != low:
            for i in range(1, 8):
                other = table.values[j, i, high] + x * table.slopes[j, i, high]
                if i < 7:
                    row[i] += inside * (other - row[i])
                else:
                    row[7] = 1.0 / (1.0 / row[7] + inside * (1.0 / other - 1.0 / row[7]))
            other = table.values[j, 0, high] + x * table.slopes[j, 0, high]
            other += x * x * (table.bends[j, 0, high] + x * table.bends[j, 1, high])
            free[k] += way * (other - free[k])
        young, poisson, lateral, exponent, strength = row[1], row[2], row[4], row[6], row[7]
        fluidity = math.exp(row[3])
        if not (table.viscous and fluidity > 1.001 / 1.0e25):
            fluidity = 0.0
        for c in range(3):
            factor = -1.0 if c == 0 else 1.0
            compliance[c, k] = (1.0 + factor * poisson) / young
            if flow_time > 0.0:
                viscous[c, k] = (1.0 + factor * lateral) * (flow_time * fluidity)
                compliance[c, k] += viscous[c, k]
        log_creep[k] = math.log(1.0e-16 * compliance[2, k])
        if flow_time > 0.0:
            own = row[5] + math.log(flow_time)
            own -= exponent * math.log(1.0e9)
            most = min(strength, 0.2 * young)
            fastest = own + (exponent - 1.0) * math.log(most)
            if fastest > math.log(1.0e-13 * compliance[2, k]):
                creeps = True
                log_creep[k], power[k] = own, exponent - 1.0
        yields = yields or strength < 1.0e12
        limit[k] = log_creep[k] + power[k] * math.log(strength)
        square[k] = strength * strength
    marks = np.zeros(2, np.intp)
    marks[_CREEPS], marks[_CAN_YIELD] = int(creeps), int(yields)
    there = np.empty((3, n)), np.empty((3, n))
    flat = np.empty((5, n))
    for p in range(n):
        k = material[p]
        for c in range(3):
            there[0][c, p], there[1][c, p] = compliance[c, k], viscous[c, k]
        flat[0, p], flat[1, p], flat[2, p] = log_creep[k], power[k], limit[k]
        flat[3, p], flat[4, p] = square[k], free[k]
    return Stage(there[0], there[1], flat[0], flat[1], flat[2], flat[3], flat[4], flow_time, marks)


@compiled
def _weight(c: int) -> float:
    return 0.5 if c == 0 else 1.5


@compiled
def _linear(stage: Stage, trial: Array, out: Array, marks: Array) -> bool:
    """`law.respond_linear`; whether a point is above its yield stress."""
    above = False
    for p in range(trial.shape[1]):
        a, b, c = trial[0, p], trial[1, p], trial[2, p]
        out[3, p], out[4, p], out[5, p] = _HALF * a + _HALF * b, _HALF * a - _HALF * b, _HALF * c
        square = 0.0
        for k in range(3):
            out[6 + k, p] = out[3 + k, p] * (1.0 / stage.compliance[k, p])
            square += _weight(k) * out[6 + k, p] * out[6 + k, p]
        out[0, p] = _HALF * out[6, p] + _HALF * out[7, p]
        out[1, p] = _HALF * out[6, p] - _HALF * out[7, p]
        out[2, p] = _HALF * out[8, p]
        above = above or square > stage.yield_squared[p]
    marks[_FLOWS], marks[_YIELDS], marks[_TIME], marks[_GIVEN] = 0.0, 0.0, stage.flow_time, 1.0
    return above and stage.marks[_CAN_YIELD] == 1


@compiled
def _line(stage: Stage, p: int, s: float, t: float, q: float) -> float:
    """Logarithm of λ of creep at a stress by mode."""
    square = max(0.5 * s * s + 1.5 * t * t + 1.5 * q * q, _SMALLEST_SQUARE)
    return float(stage.log_creep[p] + 0.5 * stage.power[p] * math.log(square))


@compiled
def _respond(
    stage: Stage, trial: Array, near: Array, near_marks: Array, kin: float, out: Array,
    marks: Array, within: float,
) -> bool:  # fmt: skip
    """`law.respond`: fills `out`, which may be `near`; whether the law could be solved."""
    n = trial.shape[1]
    if stage.marks[_CREEPS] == 0:
        plain, plain_marks = np.empty((ROWS, n)), np.empty(4)
        if not _linear(stage, trial, plain, plain_marks):
            for k in range(9):
                for p in range(n):
                    out[k, p] = plain[k, p]
            for k in range(4):
                marks[k] = plain_marks[k]
            return True
    mode, x = np.empty((3, n)), np.empty(n)
    known = near_marks[_GIVEN] > 0.0 and near_marks[_FLOWS] > 0.0
    if kin != _OWN and not near_marks[_TIME] > 0.0:
        known = False
    for p in range(n):
        a, b, c = trial[0, p], trial[1, p], trial[2, p]
        m0, m1, m2 = _HALF * a + _HALF * b, _HALF * a - _HALF * b, _HALF * c
        mode[0, p], mode[1, p], mode[2, p] = m0, m1, m2
        if not known:
            c0, c1, c2 = stage.compliance[0, p], stage.compliance[1, p], stage.compliance[2, p]
            slow = _line(stage, p, m0 / c0, m1 / c1, m2 / c2)
            fast = _line(stage, p, m0 / 0.5 / c2, m1 / 1.5 / c2, m2 / 1.5 / c2)
            fast += stage.power[p] * math.log(c2)
            x[p] = min(slow, fast / (1.0 + stage.power[p]))
        elif kin == _OWN:
            growth = near[14, p] * (m0 - near[3, p])
            growth += near[15, p] * (m1 - near[4, p])
            growth += near[16, p] * (m2 - near[5, p])
            growth *= near[17, p]
            x[p] = near[9, p] + math.log1p(max(growth, -0.9))
        else:
            x[p] = near[9, p] + math.log(stage.flow_time / near_marks[_TIME])
    can = stage.marks[_CAN_YIELD] == 1
    change, settled, any_yields = np.empty(n), False, False
    for _ in range(60):
        highest, lost, any_yields = -np.inf, False, False
        for p in range(n):
            multiplier = math.exp(x[p])
            square, give = 0.0, 0.0
            for k in range(3):
                relief = _weight(k) * multiplier
                compliance = stage.compliance[k, p] + relief
                stress = mode[k, p] / compliance
                direction = _weight(k) * stress
                rate = direction / compliance
                square += direction * stress
                give += direction * rate
                out[6 + k, p], out[11 + k, p], out[14 + k, p] = stress, compliance, rate
            square = max(square, _SMALLEST_SQUARE)
            give *= multiplier
            power = stage.power[p]
            whole = square + power * give
            softness = power / whole
            new = math.log(square) * (0.5 * power) + stage.log_creep[p] - x[p]
            new = new * square / whole + x[p]
            yielding = 0.0
            if can:
                ceiling, limit = stage.ceiling[p], stage.yield_squared[p]
                new = min(new, ceiling)
                if (new > ceiling - 1.0e-6 and square > limit) or x[p] > ceiling:
                    give = max(give, 1.0e-200)
                    over = (math.sqrt(square / limit) - 1.0) * (square / give)
                    grown = math.log(multiplier) + math.log1p(max(over, -0.9))
                    new = max(grown, ceiling)
                    if grown > ceiling and not square < (1.0 - 4.0 * within) * limit:
                        kept = 1.0e-6 * out[13, p] / stage.compliance[2, p]
                        softness = (1.0 - min(kept, 1.0)) / give
                        yielding, any_yields = 1.0, True
            out[9, p], out[10, p], out[17, p], out[18, p] = new, multiplier, softness, yielding
            change[p] = new - x[p]
            highest = max(highest, change[p])
            lost = lost or not math.isfinite(change[p])
        farthest = 0.0
        for p in range(n):
            moved = change[p]
            if highest > 1.0:
                moved = math.expm1(min(moved, 100.0))
            moved *= 1.5 * out[10, p]
            farthest = max(farthest, abs(moved / out[13, p]))
        if not lost and farthest <= within:
            settled = True
            break
        for p in range(n):
            x[p] = out[9, p]
    for p in range(n):
        out[3, p], out[4, p], out[5, p] = mode[0, p], mode[1, p], mode[2, p]
        out[0, p] = _HALF * out[6, p] + _HALF * out[7, p]
        out[1, p] = _HALF * out[6, p] - _HALF * out[7, p]
        out[2, p] = _HALF * out[8, p]
    marks[_FLOWS], marks[_TIME], marks[_GIVEN] = 1.0, stage.flow_time, 1.0
    marks[_YIELDS] = 1.0 if any_yields else 0.0
    return settled


@compiled
def _tangent(stage: Stage, answer: Array, flows: bool, out: Array) -> None:
    """`law.Response.tangent`: its six components 00, 01, 11, 02, 12, 22."""
    for p in range(answer.shape[1]):
        if not flows:
            one, two, three = (
                1.0 / stage.compliance[0, p],
                1.0 / stage.compliance[1, p],
                1.0 / stage.compliance[2, p],
            )
        else:
            one, two, three = 1.0 / answer[11, p], 1.0 / answer[12, p], 1.0 / answer[13, p]
        out[0, p], out[1, p] = 0.5 * one + 0.5 * two, 0.5 * one - 0.5 * two
        out[2, p], out[3, p], out[4, p], out[5, p] = out[0, p], 0.0, 0.0, 0.5 * three
        if flows:
            a = _HALF * answer[14, p] + _HALF * answer[15, p]
            b = _HALF * answer[14, p] - _HALF * answer[15, p]
            c = _HALF * answer[16, p]
            soft = answer[17, p] * answer[10, p]
            out[0, p] -= a * (a * soft)
            out[1, p] -= a * (b * soft)
            out[2, p] -= b * (b * soft)
            out[3, p] -= a * (c * soft)
            out[4, p] -= b * (c * soft)
            out[5, p] -= c * (c * soft)


@compiled
def _contracted(tangent: Array, strain: Array, out: Array) -> float:
    """Stress for a strain, and the largest of it; not a number where one is not."""
    largest, lost = 0.0, False
    for p in range(strain.shape[1]):
        a, b, c = strain[0, p], strain[1, p], strain[2, p]
        out[0, p] = tangent[0, p] * a + tangent[1, p] * b + tangent[3, p] * c
        out[1, p] = tangent[1, p] * a + tangent[2, p] * b + tangent[4, p] * c
        out[2, p] = tangent[3, p] * a + tangent[4, p] * b + tangent[5, p] * c
        for k in range(3):
            size = abs(out[k, p])
            lost = lost or math.isnan(size)
            largest = max(largest, size)
    return math.nan if lost else largest


@compiled
def _largest(stress: Array) -> float:
    """Largest magnitude of the first three rows."""
    largest = 0.0
    for k in range(3):
        for p in range(stress.shape[1]):
            largest = max(largest, abs(stress[k, p]))
    return largest


@compiled
def _strains(body: Body, unknowns: Array, out: Array) -> None:
    """`Shells.strains`."""
    elements, stations = body.operator.shape[0], 2 * body.operator.shape[0]
    own = np.empty((elements, 9))
    for e in range(elements):
        for k in range(9):
            own[e, k] = unknowns[6 * e + k]
    turns = _turns(body, unknowns)
    for j in range(body.upper.size):
        own[body.upper[j], 2] += turns[j]
    points = body.factor.shape[1]
    part = np.empty(6)
    for e in range(elements):
        for s in range(2):
            for k in range(6):
                total = 0.0
                for i in range(9):
                    total += body.operator[e, 6 * s + k, i] * own[e, i]
                part[k] = total
            g = 2 * e + s
            for q in range(points):
                p = q * stations + g
                f = body.factor
                out[0, p] = f[0, q, g] * part[0] + f[2, q, g] * part[2] + f[5, q, g] * part[5]
                out[1, p] = f[1, q, g] * part[1] + f[3, q, g] * part[3]
                out[2, p] = f[4, q, g] * part[4]


@compiled
def _turns(body: Body, unknowns: Array) -> Array:
    """Jump of the rotation at each slanting joint."""
    found = np.zeros(body.upper.size)
    for j in range(body.upper.size):
        at = 6 * body.upper[j]
        for k in range(9):
            found[j] += body.from_below[j, k] * unknowns[at - 6 + k]
        for k in range(9):
            found[j] += body.from_above[j, k] * unknowns[at + k]
    return found


@compiled
def _unbalanced(body: Body, stress: Array, out: Array) -> None:
    """`Shells.unbalanced`."""
    elements, points = body.operator.shape[0], body.factor.shape[1]
    stations = 2 * elements
    for u in range(out.size):
        out[u] = body.load[u]
    column = np.empty(10)
    for e in range(elements):
        for s in range(2):
            g = 2 * e + s
            for k in range(5):
                c = 2 if k == 4 else k % 2
                total = 0.0
                for q in range(points):
                    total += stress[c, q * stations + g] * body.share[k, q, g]
                column[5 * s + k] = total
        for i in range(9):
            total = 0.0
            for k in range(10):
                total += body.transposed[e, i, k] * column[k]
            out[6 * e + i] -= total
    for u in range(out.size):
        out[u] *= body.free[u]


@compiled
def _back(factor: Array, force: Array) -> None:
    """Solves with a banded Cholesky factor, in place."""
    size = force.size
    for j in range(size):
        force[j] /= factor[j, 0]
        for k in range(1, min(_BAND, size - 1 - j) + 1):
            force[j + k] -= factor[j, k] * force[j]
    for j in range(size - 1, -1, -1):
        for k in range(1, min(_BAND, size - 1 - j) + 1):
            force[j] -= factor[j, k] * force[j + k]
        force[j] /= factor[j, 0]


@compiled
def _inverted(matrix: Array, out: Array) -> None:
    """Inverse of a small matrix, by Gauss and Jordan with the largest pivot of each column."""
    size = matrix.shape[0]
    for i in range(size):
        for j in range(size):
            out[i, j] = 1.0 if i == j else 0.0
    for k in range(size):
        best = k
        for i in range(k + 1, size):
            if abs(matrix[i, k]) > abs(matrix[best, k]):
                best = i
        for j in range(size):
            matrix[k, j], matrix[best, j] = matrix[best, j], matrix[k, j]
            out[k, j], out[best, j] = out[best, j], out[k, j]
        pivot = matrix[k, k]
        for j in range(size):
            matrix[k, j] /= pivot
            out[k, j] /= pivot
        for i in range(size):
            share = matrix[i, k]
            if i != k and share != 0.0:
                for j in range(size):
                    matrix[i, j] -= share * matrix[k, j]
                    out[i, j] -= share * out[k, j]


@compiled
def _factored(body: Body, tangent: Array, factor: Array, spread: Array, inverse: Array) -> bool:
    """`Shells.solver`: Cholesky's factor, and changes per jump; whether it is definite."""
    elements, points = body.operator.shape[0], body.factor.shape[1]
    stations, size = 2 * elements, factor.shape[0] - _BAND
    _zero(factor)
    joints = body.upper.size
    stiffness = np.zeros((elements, 45))
    column = np.empty(30)
    for e in range(elements):
        for s in range(2):
            g, m = 2 * e + s, 0
            for first in range(5):
                i = 2 if first == 4 else first % 2
                for second in range(first, 5):
                    j = 2 if second == 4 else second % 2
                    low, high = min(i, j), max(i, j)
                    t = low + high * (high + 1) // 2  # 00, 01, 11, 02, 12, 22
                    total = 0.0
                    for q in range(points):
                        total += tangent[t, q * stations + g] * body.moment[m, q, g]
                    column[15 * s + m] = total
                    m += 1
        for m in range(30):
            for k in range(45):
                stiffness[e, k] += column[m] * body.stiffness_map[e, m, k]
        k = 0
        for i in range(9):
            for j in range(i + 1):
                row, at = 6 * e + i, 6 * e + j
                factor[at, row - at] += stiffness[e, k] * (body.free[row] * body.free[at])
                k += 1
    for u in range(size):
        if body.free[u] == 0.0:
            factor[u, 0] += 1.0
    for j in range(size):
        if not factor[j, 0] > 0.0 or not math.isfinite(factor[j, 0]):
            return False
        root = math.sqrt(factor[j, 0])
        factor[j, 0] = root
        for k in range(1, _BAND + 1):
            factor[j, k] /= root
        for i in range(1, _BAND + 1):
            for k in range(i, _BAND + 1):
                factor[j + i, k - i] -= factor[j, i] * factor[j, k]
    if joints:
        matrix = np.eye(joints)
        _zero(spread)
        for j in range(joints):
            e = body.upper[j]
            for k in range(9):
                low, high = min(k, 2), max(k, 2)
                own = stiffness[e, high * (high + 1) // 2 + low]
                spread[j, 6 * e + k] = own * body.free[6 * e + k]
            _back(factor, spread[j])
            turns = _turns(body, spread[j])
            for k in range(joints):
                matrix[k, j] += turns[k]
        _inverted(matrix, inverse)
    return True


@compiled
def _solved(
    body: Body, definite: bool, factor: Array, spread: Array, inverse: Array, force: Array,
    out: Array,
) -> None:  # fmt: skip
    """Change of the unknowns that would balance a force; not a number where none is known."""
    if not definite:
        for u in range(out.size):
            out[u] = math.nan
        return
    for u in range(out.size):
        out[u] = force[u]
    _back(factor, out)
    joints = body.upper.size
    if joints:
        turns = _turns(body, out)
        for j in range(joints):
            share = 0.0
            for k in range(joints):
                share += inverse[j, k] * turns[k]
            for u in range(out.size):
                out[u] -= spread[j, u] * share


@compiled
def _less(
    strain: Array, share: float, more: Array, inelastic: Array, free: Array, out: Array
) -> None:
    """Trial strain: total less free less known."""
    for p in range(strain.shape[1]):
        for k in range(3):
            known = inelastic[k, p] + (free[p] if k < 2 else 0.0)
            out[k, p] = strain[k, p] + share * more[k, p] - known


@compiled
def _add(to: Array, share: float, what: Array) -> None:
    """Adds a share of one array to another of the same size, in place."""
    a, b = to.reshape(-1), what.reshape(-1)
    for k in range(a.size):
        a[k] += share * b[k]


@compiled
def _product(one: Array, other: Array) -> float:
    total = 0.0
    for k in range(one.size):
        total += one[k] * other[k]
    return total


@compiled
def _equilibrium(
    body: Body, stage: Stage, limits: Limits, inelastic: Array, unknowns: Array, strain: Array,
    near: Array, near_marks: Array, answer: Array, marks: Array, tangent: Array,
) -> tuple[int, int]:  # fmt: skip
    """`Equilibrium.solve` from the unknowns given, all in place: how it ended, and evaluations.

    One round is one evaluation of the law; every function has one place here, as each place is
    compiled anew.
    """
    n, size_of = strain.shape[1], unknowns.size
    factor = np.empty((size_of + _BAND, _BAND + 1))
    joints = body.upper.size
    spread, inverse = np.empty((joints, size_of)), np.empty((joints, joints))
    force, change = np.empty(size_of), np.empty(size_of)
    more, stress, trial = np.zeros((3, n)), np.empty((3, n)), np.empty((3, n))
    other, other_marks = np.empty((ROWS, n)), np.zeros(4)
    source, source_marks, new, new_marks = near, near_marks, answer, marks
    _strains(body, unknowns, strain)
    close = limits.imbalance * limits.relative
    evaluations, kin, phase = 0, _STRANGER, _AT_FIRST
    share, work, size, before, limit, definite, first = 0.0, 0.0, 0.0, 0.0, 0.0, False, True
    while True:
        _less(strain, share, more, inelastic, stage.free, trial)
        if not _respond(stage, trial, source, source_marks, kin, new, new_marks, close):
            return NO_FLOW, evaluations
        evaluations += 0 if phase == _RESTARTED else 1
        if phase == _SAME_TANGENT and size * size <= _LEFT * (before - size) * limit:
            _copy(other, other_marks, answer, marks)
            return DONE, evaluations
        _unbalanced(body, new, force)
        if phase == _SEARCHING:
            left = _product(change, force)
            if left < -0.5 * work and not share < 0.02:
                share *= max(work / (work - left), 0.1)
                continue
            _add(unknowns, share, change)
            _add(strain, share, more)
        same = phase >= _SEARCHING
        while True:  # the same tangent again, a new one, and one of a body that does not flow
            plain = phase == _PLAIN
            if not same:
                flows = marks[_FLOWS] > 0.0 and not plain
                _tangent(stage, answer, flows, tangent)
                definite = _factored(body, tangent, factor, spread, inverse)
            _solved(body, definite, factor, spread, inverse, force, change)
            _strains(body, change, more)
            if plain:
                break
            before = size
            limit = limits.absolute + limits.relative * _largest(other if same else answer)
            limit *= limits.imbalance
            size = _contracted(tangent, more, stress)
            if same and not size <= limit and not size * size <= before * limit:
                _copy(other, other_marks, answer, marks)
                if evaluations >= 60:
                    return UNBALANCED, evaluations
                same = False
                continue
            if not same and first and marks[_FLOWS] > 0.0 and not size <= 1.0e4 * limit:
                first, phase = False, _PLAIN
                _less(strain, 0.0, more, inelastic, stage.free, trial)
                _linear(stage, trial, other, other_marks)
                _unbalanced(body, other, force)
                continue
            break
        if phase == _PLAIN:
            _add(unknowns, 1.0, change)
            _add(strain, 1.0, more)
            share, kin, phase = 0.0, _STRANGER, _RESTARTED
            source, source_marks, new, new_marks = near, near_marks, answer, marks
            _zero(more)
            continue
        if same:
            if size <= limit:
                _copy(other, other_marks, answer, marks)
                return DONE, evaluations
            _add(unknowns, 1.0, change)
            _add(strain, 1.0, more)
            share, kin, phase = 0.0, _OWN, _SAME_TANGENT
            source, source_marks, new, new_marks = other, other_marks, other, other_marks
            continue
        if not math.isfinite(size):
            return UNBALANCED, evaluations
        if size <= limit:
            return DONE, evaluations
        work, share = _product(change, force), 1.0
        if work <= 0.0:
            return UNBALANCED, evaluations
        kin, phase = _OWN, _SEARCHING
        source, source_marks, new, new_marks = answer, marks, other, other_marks


@compiled
def _copy(one: Array, one_marks: Array, other: Array, other_marks: Array) -> None:
    _zero(other)
    _add(other, 1.0, one)
    for k in range(4):
        other_marks[k] = one_marks[k]


@compiled
def _zero(some: Array) -> None:
    flat = some.reshape(-1)
    for k in range(flat.size):
        flat[k] = 0.0


@compiled
def _gained(stage: Stage, answer: Array, marks: Array, found: Array) -> None:
    """`law.inelastic_increments`, (3, 3, n) in a row."""
    n = answer.shape[1]
    flows = marks[_FLOWS] > 0.0
    modes = np.zeros((3, 3))
    for p in range(n):
        for k in range(3):
            modes[0, k] = stage.viscous[k, p] * answer[6 + k, p]
            modes[1, k], modes[2, k] = 0.0, 0.0
            if flows:
                whole = _weight(k) * answer[6 + k, p] * answer[10, p]
                plastic = 0.0
                if answer[18, p] > 0.0:
                    plastic = 1.0 - math.exp(stage.ceiling[p]) / answer[10, p]
                modes[2, k] = plastic * whole
                if stage.marks[_CREEPS] == 1:
                    modes[1, k] = (1.0 - plastic) * whole
        for way in range(3):
            at = 3 * n * way + p
            found[at] = _HALF * modes[way, 0] + _HALF * modes[way, 1]
            found[at + n] = _HALF * modes[way, 0] - _HALF * modes[way, 1]
            found[at + 2 * n] = modes[way, 2] / _HALF


@compiled
def _flows_between(table: Table, start: float, end: float) -> bool:
    """`MaterialTable.flows_between`."""
    first = max(int(np.searchsorted(table.time, start, side="right")) - 1, 0)
    last = min(int(np.searchsorted(table.time, end, side="left")), table.time.size - 1)
    return bool(table.flowing[last] > table.flowing[first])


@compiled
def _summed(parts: Array, out: Array) -> None:
    """Sum over the mechanisms."""
    flat = out.reshape(-1)
    for k in range(flat.size):
        flat[k] = parts[k] + parts[flat.size + k] + parts[2 * flat.size + k]


@compiled
def _room(old: Array) -> Array:
    """The same rows, with room for as many more."""
    new = np.zeros((2 * old.shape[0], old.shape[1]))
    for k in range(old.shape[0]):
        for i in range(old.shape[1]):
            new[k, i] = old[k, i]
    return new


@compiled
def march_shell(
    body: Body, table: Table, limits: Limits, stops: Array, sharp: NDArray[np.bool_]
) -> Marched:
    """`integrator.march` for one shell with steps under error control.

    Parameters
    ----------
    body
        The shell. [m], [-]
    table
        Its materials. [SI]
    limits
        Tolerances and the longest step. [-], [Pa], [s]
    stops
        Times to land on, the start first. [s]
    sharp
        Which of them are turns of the history. [-]
    """
    n, size = body.material.size, body.load.size
    whole = 9 * n
    # of each instant: time and error; unknowns; strain; stress; inelastic strain
    times, unknowns = np.zeros((64, 2)), np.zeros((64, size))
    strain, stress, inelastic = np.zeros((64, 3 * n)), np.zeros((64, 3 * n)), np.zeros((64, whole))
    nothing, no_marks = np.zeros((ROWS, n)), np.zeros(4)
    near, near_marks, rates = nothing, np.zeros(4), np.zeros(whole)
    known, tangent, doubt = np.zeros((3, n)), np.empty((6, n)), np.zeros(whole)
    moved = np.empty((3, n))
    first, second, so_far = np.zeros(whole), np.zeros(whole), np.zeros(whole)
    carried, gained = np.zeros(whole), np.zeros(whole)
    speed, halfway = np.zeros(size), np.zeros(size)
    between, between_marks = nothing, no_marks
    answer, marks = nothing, no_marks
    duration = stops[-1] - stops[0]
    wanted = duration / 100.0
    step, upto, end, flow_time, at = 0.0, stops[0], stops[0], 0.0, stops[0]
    reach, own_time = 0.0, 0.0
    still, at_turn, refused = False, True, False
    count, number, rejected, iterations, turns = 0, 0, 0, 0, 0
    part, ended = _START, DONE
    while True:
        now = count - 1
        if part == _STEP:
            if times[now, 0] >= end:
                at_turn = at_turn if number == 0 else sharp[number]
                number += 1
                if number == stops.size:
                    break
                end = stops[number]
                continue
            quiet = not near_marks[_YIELDS] > 0.0
            still = not refused and quiet and not _flows_between(table, times[now, 0], end)
            left = end - times[now, 0]
            step = min(np.inf if still else wanted, limits.longest)
            step = left if step > 0.999 * left else min(step, 0.5 * left)
            upto = end if times[now, 0] + step > end - 1.0e-9 * step else times[now, 0] + step
            part = _MIDDLE
            if quiet and not _flows_between(table, times[now, 0], upto):
                part = _STILL
            if count == times.shape[0]:
                times, unknowns, strain = _room(times), _room(unknowns), _room(strain)
                stress, inelastic = _room(stress), _room(inelastic)
            turns = 0
        row = count
        source, source_marks = nothing, no_marks
        u = unknowns[row]
        answer, marks = np.zeros((ROWS, n)), np.zeros(4)
        if part == _START:
            at, flow_time = stops[0], 0.0
        elif part == _STILL:
            at, flow_time = upto, 0.0
            _summed(inelastic[now], known)
            for k in range(size):
                u[k] = unknowns[now, k] + step * speed[k]
        elif part == _MIDDLE:
            reach = 2.0 * _GAMMA * step
            own_time = _GAMMA * step if near_marks[_GIVEN] > 0.0 else reach
            flow_time = own_time
            at = times[now, 0] + reach
            source, source_marks = near, near_marks
            for k in range(whole):  # first half of the trapezium; yield has no rate
                carries = near_marks[_GIVEN] > 0.0 and k < 6 * n
                carried[k] = _GAMMA * step * rates[k] if carries else 0.0
                so_far[k] = inelastic[now, k] + carried[k]
            _summed(so_far, known)
            u = halfway
            for k in range(size):
                u[k] = unknowns[now, k] + reach * speed[k]
        else:
            at, flow_time = upto, _GAMMA * step
            source, source_marks = between, between_marks
            _summed(so_far, known)
            for k in range(size):
                u[k] = unknowns[now, k] + (halfway[k] - unknowns[now, k]) / (2.0 * _GAMMA)
        stage = _stage(table, body.material, at, flow_time)
        ended, again = _equilibrium(
            body, stage, limits, known, u, strain[row].reshape(3, n), source, source_marks,
            answer, marks, tangent,
        )  # fmt: skip
        turns += again
        if ended == NO_FLOW:
            break
        if ended == DONE:
            _gained(stage, answer, marks, second)
        if part == _START:
            if ended != DONE:
                ended = NONE_AT_START
                break
            times[0, 0] = stops[0]
            for k in range(whole):
                inelastic[0, k] = second[k]
            _put(answer, stress[0])
            count, part = 1, _STEP
            continue
        if ended == DONE and part == _MIDDLE:
            between, between_marks = answer, marks
            for k in range(whole):
                gained[k] = second[k]
                first[k] = carried[k] + gained[k]
                so_far[k] = inelastic[now, k] + _ONWARD * first[k]
            part = _LAST
            continue
        if ended == DONE and part == _STILL and marks[_YIELDS] > 0.0:
            part = _MIDDLE
            turns = 0
            continue
        ratio, worst = 64.0, 0.0
        if ended == DONE and part == _STILL:
            ratio = 0.0
            for k in range(whole):
                second[k], so_far[k], rates[k] = 0.0, inelastic[now, k], 0.0
        elif ended == DONE:
            smooth = 0 if not near_marks[_GIVEN] > 0.0 else (6 * n if at_turn else whole)
            for k in range(whole):
                middle = gained[k] / (own_time if k < 6 * n else reach)
                start = rates[k] if k < smooth else middle
                last = second[k] / flow_time
                doubt[k] = step * _DOUBT[0] * start + step * _DOUBT[1] * middle
                doubt[k] += step * _DOUBT[2] * last
            _summed(doubt, known)
            _tangent(stage, answer, marks[_FLOWS] > 0.0, tangent)
            worst = _contracted(tangent, known, moved)
            ratio = worst / (limits.absolute + limits.relative * _largest(answer))
        part = _STEP
        ratio = ratio if math.isnan(ratio) else max(ratio, 1.0e-9)
        change = min(max(0.8 * ratio ** (-1.0 / 3.0), 0.33), 2.0)
        if ended != DONE or ratio > 1.0:
            ended = DONE
            rejected += 1
            refused = True
            wanted = change * step
            if wanted < _SHORTEST_STEP * duration:
                ended = UNBALANCED
                break
            continue
        if not still:
            wanted = max(step * change, wanted if change >= 1.0 else 0.0)
        for k in range(whole):
            inelastic[count, k] = so_far[k] + second[k]
            if flow_time > 0.0:
                rates[k] = second[k] / flow_time
        for k in range(size):
            if flow_time > 0.0:
                speed[k] = (u[k] - halfway[k]) / (step - reach)
            else:
                speed[k] = (u[k] - unknowns[now, k]) / step
        near, near_marks = answer, marks
        times[count, 0], times[count, 1] = upto, worst
        _put(answer, stress[count])
        iterations += turns
        at_turn, refused = False, False
        count += 1
    return Marched(
        ended, times[max(count - 1, 0), 0], step, times[:count], unknowns[:count], strain[:count],
        stress[:count], inelastic[:count], rejected, iterations,
    )  # fmt: skip


@compiled
def _put(answer: Array, stress: Array) -> None:
    n = answer.shape[1]
    for k in range(3):
        for p in range(n):
            stress[k * n + p] = answer[k, p]
