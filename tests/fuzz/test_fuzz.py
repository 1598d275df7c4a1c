"""A fixed small part of the campaign; `python -m tests.fuzz` is the whole."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from tests.fuzz.readers import inputs, kinds, violation

pytestmark = pytest.mark.usefixtures("solids_are_rough")


@pytest.mark.parametrize("name", kinds())
def test_the_files_that_the_campaign_starts_from_are_read(name: str, tmp_path: Path) -> None:
    kind = kinds()[name]
    for file, content in kind.whole.items():
        (tmp_path / file).write_bytes(content)
    kind.read(tmp_path, kind.whole)


@pytest.mark.parametrize("name", kinds())
def test_no_file_breaks_its_reader(name: str, tmp_path: Path) -> None:
    kind = kinds()[name]

    @settings(
        max_examples=max(1, int(20 * kind.share)),
        suppress_health_check=list(HealthCheck),
        database=None,
    )
    @given(inputs(kind))
    def holds(drawn: tuple[str, bytes]) -> None:
        found = violation(kind, tmp_path, {**kind.whole, drawn[0]: drawn[1]})
        assert found is None

    holds()
