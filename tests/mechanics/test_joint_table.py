"""The table of local fields beside a step."""

import numpy as np

from cofire.mechanics.joint import CUT_OFF, PLACES, REACH, local_field, read_field


def test_a_field_read_from_the_table_is_the_series():
    """Fields are up to four times M d; the window beside the joint, where they jump, is in it."""
    draw = np.random.default_rng(0)
    distance = np.concatenate(
        [[0.0, 0.5 * CUT_OFF, CUT_OFF, CUT_OFF + 1e-9, REACH], draw.uniform(0.0, REACH, 300)]
    )
    for place in (np.array([-0.77, 0.0, 0.77]), PLACES):
        series = local_field(distance, place).components
        pairs = np.eye(series.shape[1])
        assert np.abs(read_field(distance, place).at(pairs) - series).max() < 2e-4
        assert np.abs(series).max() > 1.0
