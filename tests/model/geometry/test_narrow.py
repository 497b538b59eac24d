"""Meshes and the measures taken on them: error bounds, enclosures, point in solid, depth - against formulas."""

from __future__ import annotations

import math
from typing import Any

import cadquery as cq
import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.geometry.depth import depth_of
from elbowroom.model.geometry.enclosure import Enclosure
from elbowroom.model.geometry.meshes import Surface, fault_of, mesh_volume, seeds, welded
from elbowroom.model.geometry.narrow import Kernel, nearest
from elbowroom.model.geometry.tessellate import tessellate
from elbowroom.model.tolerances import CHORD_MM, CHORD_SAFETY, FINER, WELD_MM
from elbowroom.parts.vocabulary.pose import rotation
from elbowroom.parts.vocabulary.winding import winding
from tests.model.shapes_for_tests import Hook, Shell

KERNEL_MM = 1e-6  # mm: the exact kernel's points lie on its surfaces to 1e-7
Vec = cq.Vector


def spherical(n: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Directions spread over the sphere, none along an axis."""
    k = np.arange(n) + 0.5
    polar, turn = np.arccos(1 - 2 * k / n), np.pi * (1 + 5**0.5) * k
    return np.stack([np.cos(turn) * np.sin(polar), np.sin(turn) * np.sin(polar), np.cos(polar)], axis=1)


def true_points(kind: str) -> tuple[Any, np.ndarray[Any, np.dtype[np.float64]]]:
    """A solid and points on its true surface, from the formula of the surface."""
    d, s = spherical(3000), np.linspace(0, 1, 3000)
    a = s * 2 * np.pi * 37
    if kind == "sphere":
        return cq.Solid.makeSphere(8, angleDegrees1=-90, angleDegrees2=90), 8 * d
    if kind == "cylinder":
        return cq.Solid.makeCylinder(8, 30), np.stack([8 * np.cos(a), 8 * np.sin(a), 30 * s], axis=1)
    if kind == "cone":
        r = 10 - 6 * s
        return cq.Solid.makeCone(10, 4, 25), np.stack([r * np.cos(a), r * np.sin(a), 25 * s], axis=1)
    b = s * 2 * np.pi * 5
    out = 30 + 5 * np.cos(b)
    return cq.Solid.makeTorus(30, 5), np.stack([out * np.cos(a), out * np.sin(a), 5 * np.sin(b)], axis=1)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sphere", "cylinder", "cone", "torus"])
@pytest.mark.parametrize("finer", [1.0, FINER[0]])
def test_the_true_surface_is_within_the_bound_of_its_mesh(kind: str, finer: float) -> None:
    solid, points = true_points(kind)
    mesh = tessellate(solid.wrapped, finer)
    surface = Surface(mesh.vertices[mesh.triangles])
    assert mesh.fault is None
    assert 0 < mesh.bound <= CHORD_SAFETY * CHORD_MM / finer
    assert max(surface.nearest(p)[0] for p in points[:: 7 if finer == 1.0 else 41]) <= mesh.bound + KERNEL_MM


@pytest.mark.parametrize("kind", ["sphere", "cylinder", "cone", "torus"])
def test_the_true_surface_is_within_the_enclosures(kind: str) -> None:
    """Along any direction, no true point reaches farther than the enclosures; and they reach no farther than needed."""
    solid, points = true_points(kind)
    e = Enclosure(tessellate(solid.wrapped))
    reach, stray = e.reach()
    for u in spherical(200):
        over = float((reach @ u + stray).max() - (points @ u).max())
        assert over >= -KERNEL_MM
        assert over <= 0.8  # mm: an arc of 0.3 rad on the largest circle here, and the spacing of the true points


def test_a_hole_through_a_plate_adds_nothing_along_its_axis() -> None:
    """What flat-to-flat exactness rests on: enclosures of holes and round corners stay between the plate's faces."""
    plate = cq.Workplane().rect(60, 40).extrude(5).edges("|Z").fillet(4).faces(">Z").workplane().hole(9).val()
    e = Enclosure(tessellate(plate.wrapped))  # type: ignore[union-attr]
    reach, stray = e.reach()
    assert not stray.any()
    assert reach[:, 2].min() == pytest.approx(0.0, abs=KERNEL_MM)
    assert reach[:, 2].max() == pytest.approx(5.0, abs=KERNEL_MM)
    assert reach[:, 0].max() == pytest.approx(30.0, abs=KERNEL_MM)  # a fillet's enclosure ends in its tangent plane


def test_flat_solids_have_no_error_and_their_own_volume() -> None:
    mesh = tessellate(cq.Solid.makeBox(3, 4, 5).wrapped)
    assert (len(mesh.vertices), len(mesh.triangles), mesh.bound) == (8, 12, 0.0)
    assert mesh_volume(mesh.vertices, mesh.triangles) == pytest.approx(60.0, rel=1e-12)


def test_a_mirrored_solid_faces_outward() -> None:
    for mirrored in (False, True):
        mesh = tessellate(Hook(mirrored=mirrored).solids()["body"].wrapped)
        assert mesh.fault is None
        assert mesh_volume(mesh.vertices, mesh.triangles) == pytest.approx(mesh.volume_mm3, rel=0.01)


def test_welding_joins_what_a_grid_would_part() -> None:
    """Two corners 0.2 of the weld distance apart, on the two sides of a rounding step."""
    step = 0.5 * WELD_MM
    points = np.array([[step - 0.1 * WELD_MM, 0, 0], [step + 0.1 * WELD_MM, 0, 0], [1.0, 0, 0], [0, 1.0, 0]])
    joined, triangles, kept = welded(points, np.array([[0, 2, 3], [1, 2, 3], [0, 1, 2]], dtype=np.int32))
    assert len(joined) == 3
    assert triangles[0].tolist() == triangles[1].tolist()
    assert kept.tolist() == [True, True, False]


def test_faults_of_meshes_are_named() -> None:
    v = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    t = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], dtype=np.int32)
    assert fault_of(v, t) is None
    assert "fewer" in (fault_of(v, t[:3]) or "")
    two = np.vstack([t, t + 4])
    assert "not closed" in (fault_of(np.vstack([v, v + 2.0]), two[:-1]) or "")
    turned = t.copy()
    turned[1] = turned[1][::-1]
    assert "disagree" in (fault_of(v, turned) or "")
    lost = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, np.nan]])
    assert "finite" in (fault_of(lost, t) or "")


def test_point_in_solid_knows_voids_and_pieces() -> None:
    mesh = tessellate(Shell().solids()["body"].wrapped)
    for point, inside in (((0, 0, 0), 0.0), ((17, 3, -2), 1.0), ((30, 0, 0), 0.0), ((14.999, 14.999, 14.999), 0.0)):
        found = winding(np.array([point], dtype=float), mesh.vertices[mesh.triangles])[0]
        assert found == pytest.approx(inside, abs=1e-9)
    assert len(seeds(mesh.vertices, mesh.triangles)) == 2  # outer skin and void


def test_distance_says_nothing_of_a_body_inside_another() -> None:
    """The trap the engine is built around: eight clear millimetres, for a body that is wholly inside."""
    outer, inner = (Kernel(tessellate(cq.Solid.makeBox(s, s, s).wrapped)) for s in (20.0, 4.0))
    assert nearest(outer, inner, np.eye(3), np.full(3, 8.0)).distance == pytest.approx(8.0)
    assert inner.holds(np.full(3, 2.0))


@settings(max_examples=80, deadline=None)
@given(
    size=st.tuples(*[st.floats(0.01, 50)] * 3),
    axis=st.sampled_from([(0, 0, 1), (1, 2, 3), (-3, 1, 2)]),
    angle=st.floats(0, 360),
)
def test_the_depth_of_a_box_is_its_least_side_however_it_is_turned(
    size: tuple[float, float, float], axis: tuple[float, float, float], angle: float
) -> None:
    turned = manifold3d.Manifold.cube(size, True).transform(rotation(axis, angle)[:3])
    found = depth_of(turned)
    assert found is not None
    assert found.depth == pytest.approx(min(size), rel=1e-9, abs=1e-9)
    assert math.dist(found.point_a, found.point_b) == pytest.approx(min(size), rel=1e-6)


def test_the_depth_of_an_octahedron_is_the_distance_of_its_faces() -> None:
    """Its least width lies along a face's normal: 2 a / sqrt(3) for corners at a."""
    corners = [(a, 0, 0) for a in (-9, 9)] + [(0, a, 0) for a in (-9, 9)] + [(0, 0, a) for a in (-9, 9)]
    found = depth_of(manifold3d.Manifold.hull_points(corners))
    assert found is not None
    assert found.depth == pytest.approx(18 / math.sqrt(3), rel=1e-9)


def test_a_tetrahedron_is_least_wide_between_two_edges() -> None:
    """Of a regular tetrahedron of side a that is a / sqrt(2), along no face's normal."""
    found = depth_of(manifold3d.Manifold.hull_points([(6, 6, 6), (6, -6, -6), (-6, 6, -6), (-6, -6, 6)]))
    assert found is not None
    assert found.depth == pytest.approx(12.0, rel=1e-9)


def test_a_ring_is_as_deep_as_its_wall_and_not_as_its_hole() -> None:
    outer, inner = (manifold3d.Manifold.cylinder(40, r, r, 90, True) for r in (10.0, 9.6))
    found = depth_of(outer - inner.scale([1, 1, 2]))
    assert found is not None
    assert 0.35 <= found.depth <= 0.4 + 1e-9


def test_of_several_pieces_the_deepest_counts_and_the_volume_is_of_all() -> None:
    cube = manifold3d.Manifold.cube([1, 1, 1])
    found = depth_of(cube + cube.scale([3, 3, 2]).translate([5, 0, 0]))
    assert found is not None
    assert found.depth == pytest.approx(2.0)
    assert found.volume_mm3 == pytest.approx(19.0)
