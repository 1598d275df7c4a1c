from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from cofire.numerics import ShapePreserving, shape_preserving_cubics

STEPS = st.lists(st.floats(0.1, 100.0), min_size=2, max_size=12)


@given(STEPS, st.data())
def test_the_curve_is_that_of_scipy(steps: list[float], data: st.DataObject) -> None:
    """scipy.interpolate.PchipInterpolator, an independent and well-kept implementation."""
    x = np.cumsum(steps)
    values = st.integers(-800, 800).map(lambda n: n / 16.0)
    y = np.array(data.draw(st.lists(values, min_size=x.size, max_size=x.size)))
    at = np.linspace(x[0], x[-1], 101)
    expected = PchipInterpolator(x, y)

    assert np.allclose(ShapePreserving.through(x, y).at(at), expected(at), rtol=1e-9, atol=1e-9)
    assert np.allclose(
        np.stack(shape_preserving_cubics(x, y)), expected.c[:3], rtol=1e-7, atol=1e-9
    )


def test_rows_of_values_are_done_at_once() -> None:
    x = np.array([0.0, 1.0, 3.0, 4.0])
    rows = np.array([[0.0, 1.0, 1.5, 4.0], [3.0, 2.0, 5.0, 5.0]])

    together = np.stack(shape_preserving_cubics(x, rows))

    for k, row in enumerate(rows):
        assert np.array_equal(together[:, k], np.stack(shape_preserving_cubics(x, row)))
