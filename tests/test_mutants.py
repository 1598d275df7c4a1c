"""What the mutation campaign puts into a module; `python -m tests.mutants` is the campaign."""

from __future__ import annotations

import ast

from tests.mutants import STRESSED, Faults, drawn, modules, mutants_of, mutated

SOURCE = '''
def share(part: float, whole: float = 2.0) -> float:
    """A share, 1.0 at most."""
    if part < 0.0:
        raise ValueError(f"{part:.3g} is below 0")
    return min(part / whole, 1.0)
'''


def faulty(number: int) -> str:
    return ast.unparse(Faults(number).visit(ast.parse(SOURCE)))


def test_each_fault_changes_one_place_and_neither_docstring_nor_message() -> None:
    faults = Faults(None)
    plain = ast.unparse(faults.visit(ast.parse(SOURCE)))
    assert plain == ast.unparse(ast.parse(SOURCE))
    every = [faulty(n) for n in range(len(faults.found))]
    assert len(set(every)) == len(every)
    assert plain not in every
    for text in every:
        assert sum(a != b for a, b in zip(text.split("\n"), plain.split("\n"), strict=True)) == 1
        assert '"""A share, 1.0 at most."""' in text
        assert "is below 0" in text
    kinds = {kind for _, _, kind, _, _ in faults.found}
    assert {"comparison", "comparison turned", "arithmetic", "constant", "call", "return"} == kinds


def test_every_second_fault_is_in_a_module_that_decides_on_cracks_or_is_the_solid() -> None:
    stressed = [m.module.rpartition("/")[2].removesuffix(".py") in STRESSED for m in drawn(1, 20)]
    assert stressed == [True, False] * 10
    assert {f"{name}.py" for name in STRESSED} <= {m.rpartition("/")[2] for m in modules()}


def test_a_longer_draw_begins_with_the_shorter_and_all_of_it_compiles() -> None:
    few, more = drawn(1, 20), drawn(1, 40)
    assert more[:20] == few
    assert {m.module for m in more} <= set(modules())
    for mutant in few:
        compile(mutated(mutant), mutant.module, "exec")
    assert mutants_of(few[0].module)[few[0].number] == few[0]
