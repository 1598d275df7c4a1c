"""Settings of every test: one thread of linear algebra, the same examples on each run.

The matrices are small, and workers side by side would only wait for each other's threads.
`pytest --hypothesis-profile=search` looks for new ones.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")  # read when numpy is first imported

import pytest  # noqa: E402
from hypothesis import HealthCheck, Phase, settings  # noqa: E402

settings.register_profile(
    "suite",
    deadline=None,
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=(HealthCheck.too_slow,),
)
settings.register_profile("search", deadline=None, derandomize=False)
settings.load_profile("suite")


class Backwards(pytest.Dir):
    """A folder read from its end."""

    def collect(self) -> Iterable[pytest.Item | pytest.Collector]:
        """What it holds, the last first."""
        return reversed(list(super().collect()))


def pytest_collect_directory(path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Every second worker begins at the end, and finds compiled what another has read."""
    if int(os.environ.get("PYTEST_XDIST_WORKER", "gw0")[2:]) % 2:
        return Backwards.from_parent(parent, path=path)
    return None


COMPILES = "test_shell_march"
MARCH_NOTHING = {"materials", "firing", "physics", "test_calibration"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The compiled march first, beside it what never needs it, then all else.

    Workers take files as they are listed: so one of them compiles it, most of a minute in a fresh
    checkout, while the others have work until it is there. The same list whichever way it was read.
    """
    items.sort(key=lambda item: (_turn(item.path), item.path))


def _turn(file: Path) -> int:
    if file.stem == COMPILES:
        return 0
    return 2 if MARCH_NOTHING.isdisjoint((file.parent.name, file.stem)) else 1


@pytest.fixture(scope="module")
def solids_are_rough() -> Iterator[None]:
    """For a file to which it does not matter how exact the solid of a check is."""
    from tests.fired import rough_solids

    with rough_solids():
        yield
