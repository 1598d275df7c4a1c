"""Docstrings against signatures: every parameter documented, every quantity with its unit."""

from __future__ import annotations

import ast
import builtins
import importlib
import inspect
import pkgutil
import re
import types
import typing
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import cofire

PACKAGES = ("cofire.physics", "cofire.mechanics")
UNIT = re.compile(r"\[[^\[\]]+\]")
"""A unit in brackets: [K]."""
HEAD = re.compile(r"(?P<names>\*{0,2}\w+(, \*{0,2}\w+)*)( : .*)?$")


def public_callables() -> Iterator[tuple[str, Callable[..., object]]]:
    """Public functions of the packages, and public methods of the classes defined there."""
    for package in PACKAGES:
        root = importlib.import_module(package)
        for found in pkgutil.iter_modules(root.__path__, package + "."):
            module = importlib.import_module(found.name)
            for name, thing in vars(module).items():
                if name.startswith("_") or getattr(thing, "__module__", "") != module.__name__:
                    continue
                if inspect.isfunction(thing):
                    yield f"{module.__name__}.{name}", thing
                elif inspect.isclass(thing):
                    for method, body in vars(thing).items():
                        if inspect.isfunction(body) and not method.startswith("_"):
                            yield f"{module.__name__}.{name}.{method}", body


def described(docstring: str) -> dict[str, str]:
    """Text under each name of the docstring's Parameters section.

    Names that share one text, as in `radius, length : float`, each get it.
    """
    lines = inspect.cleandoc(docstring).splitlines()
    found: dict[str, str] = {}
    try:
        start = lines.index("Parameters") + 2
    except ValueError:
        return found
    names: list[str] = []
    for number in range(start, len(lines)):
        line = lines[number]
        if line.startswith("---"):
            found.pop(lines[number - 1], None)
            break
        if line and not line.startswith(" "):
            head = HEAD.match(line)
            assert head, f"cannot read the line {line!r}"
            names = [name.strip().lstrip("*") for name in head["names"].split(",")]
            found.update(dict.fromkeys(names, ""))
        else:
            for name in names:
                found[name] = f"{found[name]} {line.strip()}".strip()
    return found


def is_quantity(annotation: Any) -> bool:
    """Whether a parameter of this type is a physical quantity, which needs a unit.

    Floats and arrays of floats are, alone or inside unions, tuples and sequences. Whole numbers
    count or index; texts, truth values, callables and objects of our own carry no unit.
    """
    if annotation is float or annotation is np.float64:
        return True
    origin = typing.get_origin(annotation)
    if origin is np.ndarray:
        return any(is_quantity(a) for a in typing.get_args(typing.get_args(annotation)[1]))
    if origin in (Callable, typing.Literal) or annotation is typing.Any:
        return False
    return any(is_quantity(a) for a in typing.get_args(annotation))


def has_unit(text: str) -> bool:
    """Whether a unit closes the text, or each part of a mixed array has its own."""
    found = list(UNIT.finditer(text))
    return len(found) > 1 or (len(found) == 1 and text.rstrip(".").endswith(found[0][0]))


@cache
def type_checking_names(module: types.ModuleType) -> dict[str, Any]:
    """Names that a module imports for its annotations only."""
    names: dict[str, Any] = {}
    for node in ast.parse(inspect.getsource(module)).body:
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"):
            exec(compile(ast.Module(node.body, []), module.__name__, "exec"), names)
    return names


def parameters(function: Callable[..., object]) -> dict[str, Any]:
    """Annotation of each parameter, `self` left out."""
    module = importlib.import_module(function.__module__)
    hints = typing.get_type_hints(function, localns=type_checking_names(module))
    names = [n for n in inspect.signature(function).parameters if n != "self"]
    return {name: hints[name] for name in names}


@pytest.fixture(scope="module")
def nodes() -> dict[Path, list[ast.AST]]:
    """All nodes of each module of the package, its own first."""
    home = Path(cofire.__file__).parent
    trees = {p: ast.parse(p.read_text(encoding="utf-8")) for p in sorted(home.rglob("*.py"))}
    return {path: list(ast.walk(tree)) for path, tree in trees.items()}


CASES = dict(public_callables())


@pytest.mark.parametrize("name", CASES)
def test_docstring_names_every_parameter_and_closes_every_quantity_with_its_unit(
    name: str,
) -> None:
    function = CASES[name]
    known = parameters(function)
    texts = described(function.__doc__ or "")
    assert sorted(texts) == sorted(known), "documented names differ from the signature"
    bare = [n for n, kind in known.items() if is_quantity(kind) and not has_unit(texts[n])]
    assert not bare, f"no unit in brackets closes: {bare}"


def test_no_module_gives_one_of_its_constants_two_values(nodes: dict[Path, list[ast.AST]]):
    """The second one counts for whatever was written with the first: a pot was drawn a dot high."""
    for path, (module, *_) in nodes.items():
        named: list[str] = []
        for node in module.body:
            if isinstance(node, ast.Assign):
                named += [t.id for t in node.targets if isinstance(t, ast.Name) and t.id.isupper()]
        assert len(named) == len(set(named)), path


NAMED = re.compile(r"(?<!`)`([A-Za-z_]\w*(?:\.[A-Za-z_]\w*)*)(?:\(\))?`(?!`)")
"""A name in backticks; not a formula, a command or a value."""
FILES, OTHERS = ("toml", "pyi"), (["scipy"], ["concurrent"])
"""Ends of files, and packages of others."""


def names_of(module: list[ast.AST]) -> set[str]:
    """Whatever a module names: what it defines, imports, takes, sets or keys a table by."""
    found: set[str] = set()
    for node in module:
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.alias):
            found.add(node.name.rpartition(".")[2])
        elif isinstance(node, ast.arg | ast.keyword) and node.arg:
            found.add(node.arg)
        elif isinstance(node, ast.Name):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.add(node.value)
    return found


def texts_of(module: list[ast.AST]) -> Iterator[str]:
    """Docstrings, those below constants too."""
    for node in module:
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield str(node.value.value)


def test_every_name_in_backticks_is_one_of_the_package(nodes: dict[Path, list[ast.AST]]):
    home = Path(cofire.__file__).parent
    modules: dict[str, set[str]] = {path.parent.name: set() for path in nodes}
    for path, own in nodes.items():
        modules.setdefault(path.stem, set()).update(names_of(own))
    known = {*modules, *dir(builtins)}.union(*modules.values())
    strange = []
    for path, own in nodes.items():
        for name in (name for text in texts_of(own) for name in NAMED.findall(text)):
            *before, last = name.removeprefix("cofire.").split(".")
            if last in FILES or before[:1] in OTHERS:
                continue
            here = modules.get(before[-1], known) if before else known
            if (last not in here and last not in modules) or not known.issuperset(before):
                strange.append(f"{path.relative_to(home)}: `{name}`")
    assert strange == []
