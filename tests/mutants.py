"""Mutants: small faults put into the physics one at a time, and whether the tests see them.

`python -m tests.mutants --count 400 --seed 1 --results mutants.jsonl` draws so many faults with
that seed from the modules of `cofire/physics`, `cofire/mechanics` and `cofire/assessment` as they
are, every second one from those that decide on cracks and on the solid, puts each into a copy of
the checkout and runs there the doctest of its module and the test files that call its function,
cheapest first, until one fails. Each result is a line added to the file, so that
a run which was stopped goes on where it was; a mutant is known by the text of its module, so that
results of a module that has been changed since are not counted. `--report` prints the score and
the survivors.

`--of cofire/design/margins.py`, repeatable, draws evenly from those modules instead, and `--tests
tests/design/test_margins.py`, repeatable, traces and runs those files alone: a few modules after a
change.

Which test file calls which function is traced once for the checkout and kept beside the results. A
test that fails without a mutant is named and left out.
"""

# ruff: noqa: D102 - the visitor's methods are named by what they visit

from __future__ import annotations

import argparse
import ast
import copy
import hashlib
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import zip_longest
from pathlib import Path
from types import FrameType
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("physics", "mechanics", "assessment")
STRESSED = ("solid", "solid_mesh", "solid_firing", "solid_reading", "parting", "crack_planes",
            "cracks", "crack_rules", "law", "fracture", "slow_crack_growth")  # fmt: skip
"""Modules from which every second mutant is drawn: a verdict hangs on them most."""
TESTS = ("physics", "mechanics", "assessment", "published")
COPIED = ("cofire", "tests", "examples", "material_tables", "pyproject.toml", "README.md",
          "DEVELOPERS.md", "LICENSE")  # fmt: skip
BUDGET = 150.0
"""Test files of a mutant are run, cheapest first, until they would take longer than this. [s]"""
MEMORY = 6 << 30
TRACE = "COFIRE_CALLS"
"""Where the plugin of a traced run writes the functions that were called."""

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.Gt, ast.LtE: ast.GtE, ast.Gt: ast.Lt, ast.GtE: ast.LtE,
}  # fmt: skip
COUNTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Div, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.Mod: ast.Mult,
}  # fmt: skip
SWAPPED = {
    "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "any": "all",
    "all": "any", "argmin": "argmax", "argmax": "argmin", "floor": "ceil", "ceil": "floor",
    "sin": "cos", "cos": "sin",
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One fault.

    Attributes
    ----------
    module
        Path from the root of the checkout.
    number
        Which one of the module's, in the order of the source.
    line, function, kind, was, now
        Where it is and what it does.
    text
        Hash of the module's text, by which an old result is known.
    """

    module: str
    number: int
    line: int
    function: str
    kind: str
    was: str
    now: str
    text: str

    @property
    def key(self) -> str:
        """By which its result is found again."""
        return f"{self.module}:{self.number}:{self.text}"


class Faults(ast.NodeTransformer):
    """Counts the places of a module where a fault can be put, and puts one in.

    Left alone: docstrings, annotations, what is raised, format specifications.
    """

    def __init__(self, wanted: int | None) -> None:
        self.wanted = wanted
        self.found: list[tuple[int, str, str, str, str]] = []
        self.scope: list[str] = []

    def fault(self, node: ast.AST, kind: str, changed: ast.AST) -> ast.AST:
        """The changed node, where this is the wanted place; else the node."""
        number = len(self.found)
        name = ".".join(self.scope) or "<module>"
        line: int = getattr(node, "lineno", 0)
        self.found.append((line, name, kind, ast.unparse(node), ast.unparse(changed)))
        if number != self.wanted:
            return node
        return ast.fix_missing_locations(ast.copy_location(changed, node))

    def _scoped(self, node: Any) -> ast.AST:
        self.scope.append(node.name)
        body = node.body
        first = body[0] if body else None
        plain = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
        node.body = body[:1] * plain + [self.visit(part) for part in body[plain:]]
        if isinstance(node, ast.FunctionDef):
            node.args.defaults = [self.visit(d) for d in node.args.defaults]
            node.args.kw_defaults = [d and self.visit(d) for d in node.args.kw_defaults]
        self.scope.pop()
        return node  # type: ignore[no-any-return]

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        return self._scoped(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        return self._scoped(node)

    def visit_Raise(self, node: ast.Raise) -> ast.AST:
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        node.value = node.value and self.visit(node.value)
        return node

    def visit_If(self, node: ast.If) -> ast.AST:
        if isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            return node
        return self.generic_visit(node)

    def visit_FormattedValue(self, node: ast.FormattedValue) -> ast.AST:
        node.value = self.visit(node.value)
        return node

    def visit_Expr(self, node: ast.Expr) -> ast.AST:
        return node if isinstance(node.value, ast.Constant) else self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        result: ast.AST = node
        for kind, table in (("comparison", COMPARED), ("comparison turned", TURNED)):
            new = table.get(type(node.ops[0]))
            if new is not None:
                changed = copy.deepcopy(node)
                changed.ops[0] = new()
                swapped = self.fault(node, kind, changed)
                result = swapped if swapped is not node else result
        return self.generic_visit(node) if result is node else result

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        texts = isinstance(node.left, ast.JoinedStr | ast.List) or (
            isinstance(node.left, ast.Constant) and isinstance(node.left.value, str)
        )
        new = COUNTED.get(type(node.op))
        if new is not None and not texts:
            changed = copy.deepcopy(node)
            changed.op = new()
            if (swapped := self.fault(node, "arithmetic", changed)) is not node:
                return swapped
        return self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        value = node.value
        if isinstance(value, bool):
            return self.fault(node, "constant", ast.Constant(not value))
        if isinstance(value, int):
            return self.fault(node, "constant", ast.Constant(value + 1))
        if isinstance(value, float):
            return self.fault(node, "constant", ast.Constant(1.0 if value == 0.0 else 1.5 * value))
        return node

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        changed = copy.deepcopy(node)
        changed.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        swapped = self.fault(node, "boolean", changed)
        return self.generic_visit(node) if swapped is node else swapped

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        if isinstance(node.op, ast.Not | ast.USub | ast.Invert):
            kind = "arithmetic" if isinstance(node.op, ast.USub) else "boolean"
            swapped = self.fault(node, kind, copy.deepcopy(node.operand))
            if swapped is not node:
                return swapped
        return self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> ast.AST:
        changed = copy.deepcopy(node)
        changed.body, changed.orelse = changed.orelse, changed.body
        swapped = self.fault(node, "boolean", changed)
        return self.generic_visit(node) if swapped is node else swapped

    def visit_Call(self, node: ast.Call) -> ast.AST:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else ""
        name = node.func.id if isinstance(node.func, ast.Name) else name
        if name in SWAPPED:
            changed = copy.deepcopy(node)
            if isinstance(changed.func, ast.Attribute):
                changed.func.attr = SWAPPED[name]
            elif isinstance(changed.func, ast.Name):
                changed.func.id = SWAPPED[name]
            if (swapped := self.fault(node, "call", changed)) is not node:
                return swapped
        return self.generic_visit(node)

    def visit_Return(self, node: ast.Return) -> ast.AST:
        if node.value is not None and not isinstance(node.value, ast.Constant):
            changed = ast.Return(ast.Constant(None))
            if (swapped := self.fault(node, "return", changed)) is not node:
                return swapped
        return self.generic_visit(node)


def modules() -> list[str]:
    """Modules that are mutated, by path."""
    return [
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for path in sorted((ROOT / "cofire" / package).glob("*.py"))
        if path.stem != "__init__"
    ]


@cache
def mutants_of(module: str) -> tuple[Mutant, ...]:
    """Every fault of a module."""
    text = (ROOT / module).read_text(encoding="utf-8")
    mark = hashlib.sha256(text.encode()).hexdigest()[:12]
    faults = Faults(None)
    faults.visit(ast.parse(text))
    return tuple(Mutant(module, n, *found, mark) for n, found in enumerate(faults.found))


def mutated(mutant: Mutant) -> str:
    """Text of the module with the fault in it."""
    tree = ast.parse((ROOT / mutant.module).read_text(encoding="utf-8"))
    return ast.unparse(Faults(mutant.number).visit(tree))


def drawn(seed: int, count: int, of: Sequence[str] = ()) -> list[Mutant]:
    """So many faults: by turns one of a stressed module and one of any other, evenly over places.

    Where modules are named, by turns one of each. The first of a longer draw are those of a
    shorter.
    """
    if of:
        some = [list(mutants_of(module)) for module in of]
        for number, each in enumerate(some):
            random.Random(seed + number).shuffle(each)
        return [m for turn in zip_longest(*some) for m in turn if m is not None][:count]
    every = [mutant for module in modules() for mutant in mutants_of(module)]
    random.Random(seed).shuffle(every)
    stressed = [m for m in every if Path(m.module).stem in STRESSED]
    others = [m for m in every if Path(m.module).stem not in STRESSED]
    return [m for both in zip(stressed, others, strict=False) for m in both][:count]


# -- which test file calls which function ----------------------------------------------------------


def pytest_sessionstart() -> None:
    """As a plugin of pytest (-p tests.mutants): trace calls of the mutated modules."""
    if TRACE not in os.environ:
        return
    places = {str(path): str(path.relative_to(ROOT)) for path in ROOT.glob("cofire/*/*.py")}
    seen: set[object] = set()
    names: set[str] = set()

    def called(frame: FrameType, event: str, argument: object) -> None:
        code = frame.f_code
        if code not in seen:
            seen.add(code)
            if code.co_filename in places:
                names.add(f"{places[code.co_filename]}::{code.co_qualname}")

    globals()["_called"] = names
    sys.settrace(called)


def pytest_sessionfinish() -> None:
    """Write the functions that were called."""
    if TRACE in os.environ:
        sys.settrace(None)
        Path(os.environ[TRACE]).write_text("\n".join(sorted(globals()["_called"])))


def run(folder: Path, arguments: list[str], seconds: float, **env: str) -> tuple[int, float, str]:
    """Status, processor time and output of pytest in a copy; -9 where it took too long."""
    command = [sys.executable, "-m", "pytest", "-q", "-m", "", "-p", "no:cacheprovider", *arguments]

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds) + 1, int(seconds) + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))

    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with subprocess.Popen(
        command, cwd=folder, env=os.environ | {"OMP_NUM_THREADS": "1"} | env, preexec_fn=limit,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, start_new_session=True, text=True,
    ) as process:  # fmt: skip
        try:
            output, _ = process.communicate(timeout=20.0 * seconds)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            output, _ = process.communicate()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return process.returncode, used, output


def copied(where: Path) -> Path:
    """A copy of the checkout."""
    folder = where / "cofire"
    folder.mkdir()
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(
                ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__")
            )
        else:
            shutil.copy(ROOT / name, folder / name)
    return folder


def traced(folder: Path, kept: Path, tests: Sequence[str] = ()) -> dict[str, Any]:
    """For each test file the functions it calls and its processor time, from the file kept."""
    known: dict[str, Any] = json.loads(kept.read_text()) if kept.exists() else {}
    usual = [path for place in TESTS for path in (folder / "tests" / place).glob("test_*.py")]
    asked = {}
    for path in [folder / name for name in tests] or sorted(usual):
        name = str(path.relative_to(folder))
        mark = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
        if known.get(name, {}).get("text") != mark:
            told = folder / "calls.txt"
            arguments = ["-p", "tests.mutants", "-o", "console_output_style=classic", name]
            _, used, output = run(folder, arguments, 900.0, **{TRACE: str(told)})
            failing = [
                line.split(" ")[1] for line in output.splitlines() if line.startswith("FAILED ")
            ]
            calls = told.read_text().split("\n") if told.exists() else []
            told.unlink(missing_ok=True)
            known[name] = {"text": mark, "seconds": used, "calls": calls, "failing": failing}
            print(f"{name}: {used:.1f} s, {len(calls)} functions", flush=True)
            for test in failing:
                print(f"  left out, it fails without a mutant: {test}", flush=True)
            kept.write_text(json.dumps(known))
        asked[name] = known[name]
    return asked


def fitting(mutant: Mutant, known: dict[str, Any]) -> list[str]:
    """Test files that call the mutant's function, cheapest first, within the budget."""
    parts = mutant.function.split(".")
    names = {
        f"{mutant.module}::{'.'.join(parts[:n])}".replace(".<locals>", "")
        for n in range(1, len(parts) + 1)
    }
    found = []
    for name, told in known.items():
        calls = {call.replace(".<locals>", "") for call in told["calls"]}
        whole = mutant.function == "<module>" and any(
            c.startswith(f"{mutant.module}::") for c in calls
        )
        if whole or names & calls:
            found.append((told["seconds"], name))
    spent, files = 0.0, []
    for seconds, name in sorted(found):
        if files and spent + seconds > BUDGET:
            break
        files.append(name)
        spent += seconds
    return files


def tried(mutant: Mutant, folder: Path, known: dict[str, Any]) -> dict[str, Any]:
    """What the tests say of a mutant."""
    files = fitting(mutant, known)
    told = mutant.__dict__ | {"key": mutant.key, "files": files}
    seconds = 30.0 + 3.0 * sum(known[name]["seconds"] for name in files)
    path = folder / mutant.module
    whole = path.read_text(encoding="utf-8")
    path.write_text(mutated(mutant), encoding="utf-8")
    begun = time.monotonic()
    try:
        left_out = [f"--deselect={test}" for name in files for test in known[name]["failing"]]
        arguments = ["-x", "--doctest-modules", mutant.module, *files, *left_out]
        status, used, output = run(folder, arguments, seconds)
    finally:
        path.write_text(whole, encoding="utf-8")
    failed = [line for line in output.splitlines() if line.startswith(("FAILED", "ERROR"))]
    result = "survived" if status in (0, 5) else "killed" if status > 0 else "timeout"
    return told | {
        "result": result,
        "by": failed[0][:160] if failed else "",
        "cpu_s": round(used, 1),
        "wall_s": round(time.monotonic() - begun, 1),
    }


def results(path: Path) -> dict[str, dict[str, Any]]:
    """Results so far by key, later ones counting."""
    if not path.exists():
        return {}
    rows = [json.loads(line) for line in path.read_text().splitlines() if line.strip()]
    return {row["key"]: row for row in rows}


def report(path: Path, wanted: list[Mutant]) -> Iterator[str]:
    """The score of those drawn, and the survivors."""
    known = results(path)
    rows = [known[m.key] for m in wanted if m.key in known]
    survived = [row for row in rows if row["result"] == "survived"]
    killed = len(rows) - len(survived)
    yield f"{len(rows)} of {len(wanted)} mutants tried, {killed} killed, {len(survived)} survived"
    if rows:
        yield f"score {100.0 * killed / len(rows):.1f} %, equivalent ones not taken out"
    for row in survived:
        yield (
            f"{row['module']}:{row['line']} #{row['number']} {row['function']}: {row['kind']}: "
            f"{row['was'][:90]}  ->  {row['now'][:90]}"
        )


def main() -> None:
    """Try the mutants that have no result yet, and report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--results", type=Path, default=Path("mutants.jsonl"))
    parser.add_argument("--minutes", type=float, default=1e6)
    parser.add_argument("--report", action="store_true", help="only print what is known")
    parser.add_argument("--survivors", action="store_true", help="try only the survivors again")
    parser.add_argument("--of", action="append", default=[], metavar="MODULE", help="repeatable")
    parser.add_argument("--tests", action="append", default=[], metavar="FILE", help="repeatable")
    given = parser.parse_args()
    wanted = drawn(given.seed, given.count, given.of)
    if not given.report:
        end = time.monotonic() + 60.0 * given.minutes
        with tempfile.TemporaryDirectory() as temporary:
            folder = copied(Path(temporary))
            known = traced(folder, given.results.with_suffix(".calls.json"), given.tests)
            done = results(given.results)
            for mutant in wanted:
                old = done.get(mutant.key)
                if (old is None or old["result"] != "survived") if given.survivors else old:
                    continue
                if time.monotonic() > end:
                    break
                row = tried(mutant, folder, known)
                with given.results.open("a") as stream:
                    stream.write(json.dumps(row) + "\n")
                print(f"{row['result']:9} {mutant.module}:{mutant.line} {mutant.kind}", flush=True)
    print("\n".join(report(given.results, wanted)))


if __name__ == "__main__":
    main()
