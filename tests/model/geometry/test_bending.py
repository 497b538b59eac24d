"""Bounds of free-form faces against an independent evaluation (scipy's) and against the kernel's own points."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import cadquery as cq
import numpy as np
import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st
from OCP.BRepAdaptor import BRepAdaptor_Surface
from scipy.interpolate import BSpline

from elbowroom.model.geometry.bending import Spline
from elbowroom.model.geometry.meshes import Surface
from elbowroom.model.geometry.tessellate import tessellate
from elbowroom.model.store import Store
from elbowroom.model.tolerances import CHORD_MM
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.pose import compose, rotation, shift
from tests.model.shapes_for_tests import Block, One, judged

KERNEL_MM = 1e-6  # mm: the exact kernel's points lie on its surfaces to 1e-7


@pytest.mark.parametrize("rational", [False, True])
def test_no_spline_strays_farther_from_a_triangle_than_its_bound(rational: bool) -> None:
    """Random control nets, knots and triangles; the surface by scipy, the triangle by hand."""
    rng = np.random.default_rng(11)
    for _ in range(60):
        p, q = (int(d) for d in rng.integers(1, 5, 2))
        n, m = p + 1 + int(rng.integers(0, 5)), q + 1 + int(rng.integers(0, 5))
        ku = np.r_[[0.0] * (p + 1), np.sort(rng.uniform(0.1, 2.9, n - p - 1)), [3.0] * (p + 1)]
        kv = np.r_[[0.0] * (q + 1), np.sort(rng.uniform(0.1, 2.9, m - q - 1)), [3.0] * (q + 1)]
        w = rng.uniform(0.5, 2, (n, m, 1)) if rational else np.ones((n, m, 1))
        net = np.concatenate([(rng.normal(size=(n, m, 3)) * 5 + 100) * w, w], axis=2)
        lo = rng.uniform(0, 2.5, 2)
        corners = lo + rng.uniform(0, 0.4, (3, 2))
        shares = rng.dirichlet((1, 1, 1), 300)
        uv = shares @ corners

        def at(uv: np.ndarray, ku=ku, kv=kv, net=net, p=p, q=q, n=n, m=m) -> np.ndarray:  # type: ignore[no-untyped-def,type-arg]
            bu, bv = BSpline(ku, np.eye(n), p)(uv[:, 0]), BSpline(kv, np.eye(m), q)(uv[:, 1])
            h = np.einsum("ai,aj,ijk->ak", bu, bv, net)
            return h[:, :3] / h[:, 3:]  # type: ignore[no-any-return]

        tri = at(corners)
        off = at(uv) - shares @ tri
        normal = np.cross(tri[1] - tri[0], tri[2] - tri[0])
        normal /= np.linalg.norm(normal)
        whole, along = Spline(net, (ku, kv), (p, q)).strays(
            corners.min(axis=0)[None], corners.max(axis=0)[None], normal[None]
        )
        assert np.linalg.norm(off, axis=1).max() <= whole[0] + 1e-9
        assert np.abs(off @ normal).max() <= along[0] + 1e-9


def loft(rng: np.random.Generator) -> Any:
    t = np.linspace(0, 2 * np.pi, 7)[:-1]
    lower = [(float(x), float(y)) for x, y in zip(np.cos(t) * rng.uniform(8, 15, 6), np.sin(t) * 9, strict=True)]
    upper = [(x * float(rng.uniform(0.5, 1.3)), y * float(rng.uniform(0.5, 1.3))) for x, y in lower]
    first = cq.Workplane().spline(lower, periodic=True).close().workplane(offset=float(rng.uniform(8, 20)))
    return first.spline(upper, periodic=True).close().loft().val()


def ridge(rng: np.random.Generator) -> Any:
    heights = [(float(x), float(rng.uniform(4, 9))) for x in np.linspace(0, 40, 6)]
    start = cq.Workplane().moveTo(0, 0).lineTo(*heights[0]).spline(heights[1:], includeCurrent=True)
    return start.lineTo(40, 0).close().extrude(12).val()


@pytest.mark.slow
@pytest.mark.parametrize("draw", [loft, ridge])
def test_every_point_of_a_free_form_solid_is_within_the_bound_of_its_mesh(draw: Any) -> None:
    for number in range(2):
        rng = np.random.default_rng(number)
        solid = draw(rng)
        mesh = tessellate(solid.wrapped)
        assert mesh.fault is None
        assert mesh.bound < 4 * CHORD_MM
        surface = Surface(mesh.vertices[mesh.triangles])
        for face in solid.Faces():
            own = BRepAdaptor_Surface(face.wrapped, True)
            if face.geomType() == "PLANE":
                continue
            u0, u1, v0, v1 = own.FirstUParameter(), own.LastUParameter(), own.FirstVParameter(), own.LastVParameter()
            for u, v in rng.uniform((u0, v0), (u1, v1), (120, 2)):
                p = own.Value(float(u), float(v))
                assert surface.nearest(np.array([p.X(), p.Y(), p.Z()]))[0] <= mesh.bound + KERNEL_MM


class Wave(One):
    """A block 40 x 12 whose top is a spline through the heights given, in a plane along x."""

    family: ClassVar[str] = "wave"
    heights: tuple[float, ...] = (6.0, 8.0, 5.0, 7.5, 6.0)

    def box(self) -> Box:
        return Box((0, -12.0, 0), (40, 0, 20))

    def points(self) -> list[tuple[float, float]]:
        return list(zip((float(x) for x in np.linspace(0, 40, len(self.heights))), self.heights, strict=True))

    def draw(self) -> Any:
        points = self.points()
        start = cq.Workplane("XZ").lineTo(*points[0]).spline(points[1:], includeCurrent=True)
        return start.lineTo(40, 0).close().extrude(12).val()


@pytest.mark.slow
@seed(5)
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    heights=st.tuples(*[st.floats(4, 9).map(lambda h: round(h, 3))] * 5),
    over=st.floats(math.log10(3e-4), math.log10(0.03)).map(lambda e: 10**e), sign=st.sampled_from([-1, 1, 1]),
    angle=st.sampled_from([0.0, 37.0]),
)  # fmt: skip
def test_a_block_over_a_wave_is_told_as_it_stands(
    tmp_path_factory: pytest.TempPathFactory, heights: tuple[float, ...], over: float, sign: int, angle: float
) -> None:
    """Truth: the spline's highest point, sampled by the kernel on the edge at 20 001 parameters (it is off by 1e-7)."""
    wave = Wave(heights=heights)
    edge = cq.Edge.makeSpline([cq.Vector(x, 0, z) for x, z in wave.points()])
    top = max(p.z for p in edge.positions(list(np.linspace(0, 1, 20001))))
    case = compose(shift(11, 5, -3), rotation((1, 2, 3), angle))
    store = Store(tmp_path_factory.mktemp("cache"))
    found = judged(store, wave, Block(x=60, y=40, z=5), shift(-10, -30, top - sign * over), wanted=1.0, case=case)
    assert found.kind in (("overlap", "unknown") if sign > 0 else ("apart", "unknown"))
    if found.kind != "unknown":
        assert found.low - 1e-5 <= over <= found.high + 1e-5
