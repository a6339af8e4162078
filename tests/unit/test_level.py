"""Which way a stone leans: drawn patterns whose two parts are moved against each other by a known amount."""

from __future__ import annotations

import numpy as np
import pytest

from samestone.imaging.level import CROWN, DEGREES_PER_PX, THROUGH_TABLE, lean_towards
from samestone.imaging.view import GIRDLE, SIDE, Plane

HALF = SIDE // 2
FOLD = 8


def facets(inner: tuple[float, float]) -> Plane:
    """A pattern of eightfold symmetry, half size; what is seen through the table is moved by `inner`, right and up."""
    rng = np.random.default_rng(8)
    waves = [(FOLD * rng.integers(0, 3), rng.uniform(4, 14), rng.uniform(0, 6), rng.uniform(0, 6)) for _ in range(24)]
    ys, xs = np.mgrid[:HALF, :HALF] - (HALF - 1) / 2
    picture = np.zeros((HALF, HALF))
    for (dx, dy), (near, far) in ((inner, THROUGH_TABLE), ((0.0, 0.0), (CROWN[0], 2.0))):
        x, y = xs - dx, ys + dy
        r, angle = np.hypot(x, y) * SIDE / HALF / GIRDLE, np.arctan2(y, x)
        drawn = sum(np.cos(spokes * angle + a) * np.cos(rings * r + b) for spokes, rings, a, b in waves)
        here = np.hypot(xs, ys) * SIDE / HALF / GIRDLE
        picture = np.where((here >= near) & (here < far), drawn, picture)
    return picture.astype(np.float32)


@pytest.mark.parametrize("inner", [(0.0, 0.0), (2.0, 0.0), (0.0, -2.0), (-1.4, 1.4)])
def test_the_low_side_is_opposite_to_where_the_pavilion_moves(inner: tuple[float, float]) -> None:
    """The drawing has half the view's size: `inner` counts twice."""
    found = lean_towards(facets(inner), FOLD)
    assert found == pytest.approx([-2 * DEGREES_PER_PX * part for part in inner], abs=0.2)
