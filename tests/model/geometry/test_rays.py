"""Lines through triangles: both forms against plane geometry, and against each other."""

from __future__ import annotations

import numpy as np
import pytest

from elbowroom.model.geometry.rays import EDGE_SLACK, Facets, met
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH, ROUNDING

# The corner of a box: one triangle in each of the planes x = 0, y = 0, z = 0, with legs of 10 along the axes.
CORNER = 10.0 * np.array(
    [
        [[0, 0, 0], [0, 1, 0], [0, 0, 1]],
        [[0, 0, 0], [0, 0, 1], [1, 0, 0]],
        [[0, 0, 0], [1, 0, 0], [0, 1, 0]],
    ]
)


@pytest.mark.parametrize(
    ("origin", "way", "where"),
    [
        ((5.0, 2.0, 3.0), (-1.0, 0.0, 0.0), {0: 5.0}),
        ((5.0, 2.0, 3.0), (1.0, 0.0, 0.0), {0: -5.0}),  # behind counts, as minus
        ((5.0, 2.0, 3.0), (-2.0, 0.0, 0.0), {0: 2.5}),  # in lengths of `way`
        ((2.0, 2.0, 1.0), (-1.0, -1.0, 0.0), {0: 2.0, 1: 2.0}),  # through the edge of two: met in both
        ((9.0, 9.0, 5.0), (0.0, 0.0, -1.0), {}),  # past the third plane's triangle
        ((3.0, 0.0, 3.0), (1.0, 0.0, 0.0), {0: -3.0}),  # in the second plane: along it, so not through it
    ],
)
def test_where_a_line_goes_through_the_corner_of_a_box(
    origin: tuple[float, ...], way: tuple[float, ...], where: dict[int, float]
) -> None:
    hit, at = met(CORNER, np.array(origin), np.array(way), EDGE_SLACK, NO_LENGTH)
    assert {int(k): pytest.approx(float(at[k]), abs=ROUNDING) for k in np.flatnonzero(hit)} == where


def test_a_triangle_without_area_is_met_by_nothing() -> None:
    line = np.array([[[0.0, 0, 0], [10, 0, 0], [5, 0, 0]]])
    down = np.array([0.0, 0, -1])
    assert not met(line, np.array([5.0, 0, 1]), down, EDGE_SLACK, 0.0)[0].any()
    assert np.isinf(Facets(line).along(np.array([5.0, 0, 1]), down, 0.0)).all()


def test_every_form_of_the_question_has_one_answer() -> None:
    """One line at a time, a prepared set asked once, and all rays together: the same triangle, as far away."""
    random = np.random.default_rng(4)
    corners = random.uniform(-50, 50, (200, 3, 3))
    points, ways = random.uniform(-20, 20, (60, 3)), random.normal(size=(60, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    facets = Facets(corners)
    far, which, steep = facets.first(points, ways, 0.0)
    assert np.isfinite(far).sum() > 50
    for point, way, f, k, c in zip(points, ways, far, which, steep, strict=True):
        hit, at = met(corners, point, way, EDGE_SLACK, 0.0)
        by_one = np.where(hit & (at > 0), at, np.inf)
        by_set = facets.along(point, way, 0.0)
        np.testing.assert_allclose(by_set, by_one, rtol=0, atol=ROUNDING)
        assert f == pytest.approx(float(by_one.min()), abs=ROUNDING)
        if np.isfinite(f):
            assert k == int(by_one.argmin())
            assert c == pytest.approx(float(facets.units[k] @ way), abs=ROUNDING)
