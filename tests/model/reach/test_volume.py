"""The reachable space against closed forms: a free half space, a wall at a known distance, a slot."""

from __future__ import annotations

import math

import numpy as np
import pytest

from elbowroom.model.geometry.meshes import fault_of, mesh_volume
from elbowroom.model.geometry.narrow import manifold_of
from elbowroom.model.reach import check, reach_solids
from elbowroom.model.reach.rooms import LIFT
from elbowroom.model.reach.volume import kits, volume
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.pose import apply
from tests.model.reach.sites_for_tests import PETG, TOP, brick, link, plate, plumbing, rooms, scene, site

ROUND_REL = 2e-3  # a full turn of 72 corners holds 0.13 % less than the circle
TUBE_REL = 6e-3  # bars along the arc are 0.013 mm thicker than the tube, and facets as above
END = link("hard-tube-14")
BODY = math.pi * (10.0**2 * (5 - LIFT) + 10.25**2 * 12)  # its foot above the land, and its collar


def turned_volume(t: float = 7.0, radius: float = 28.0, leg: float = 5.0) -> float:
    """mm3 of fitting, straight tube and bends to all sides, by Pappus over cells of the meridian plane.

    A point of a tube bent to all sides is one whose distance to the arc in its own meridian plane is at most t, or one
    beyond the arc's end that the end's flat disc sweeps.
    """
    step = 0.05
    rho, z = np.meshgrid(np.arange(step / 2, 45, step), np.arange(step / 2, 70, step), indexing="ij")
    held = (rho <= 10) & (z <= 5) & (z >= LIFT) | (rho <= 10.25) & (z >= 5) & (z <= 17)
    held |= (rho <= t) & (z >= 17) & (z <= 17 + leg + radius + t)
    u, w = radius - rho, z - (17 + leg)  # from the arc's centre, toward the axis and up
    held |= (np.abs(np.hypot(u, w) - radius) <= t) & (w >= 0) & (u >= 0)
    held |= (rho >= radius) & (rho**2 + (z - 17 - leg - radius) ** 2 <= radius**2 + t**2)
    return float((2 * math.pi * rho * held).sum() * step * step)


def test_a_free_half_space(store: Store) -> None:
    r = rooms(store, plate((0, 0)))
    found = volume(r, site(r), [(END,)], PETG)
    assert found.share == pytest.approx(1.0, abs=1e-9)
    assert found.mm3 == pytest.approx(turned_volume(), rel=TUBE_REL)
    assert found.solid is not None
    assert fault_of(found.solid.vertices, found.solid.triangles) is None
    assert mesh_volume(found.solid.vertices, found.solid.triangles) == pytest.approx(found.mm3, rel=1e-9)
    assert found.solid.vertices[:, 2].min() == pytest.approx(TOP + LIFT)
    assert found.solid.vertices[:, 2].max() == pytest.approx(TOP + 17 + 5 + 28 + 7, abs=0.15)


def test_a_wall_in_front_leaves_the_fitting_alone(store: Store) -> None:
    r = rooms(store, plate((0, 0)), brick((-99, -99, TOP + 30), (99, 99, TOP + 35)))
    found = volume(r, site(r), [(END,)], PETG)
    assert found.mm3 == pytest.approx(BODY, rel=ROUND_REL)
    assert found.of == pytest.approx(turned_volume(), rel=TUBE_REL)
    nearer = rooms(store, plate((0, 0)), brick((-99, -99, TOP + 16), (99, 99, TOP + 21)))
    assert volume(nearer, site(nearer), [(END,)], PETG).mm3 == 0.0


def test_a_slot_leaves_the_bends_along_it(store: Store) -> None:
    # Walls 11.5 to either side: a bend 15 degrees off the slot reaches 28 sin 15 + 7 cos 15 = 14.0 sideways.
    walls = [brick((-200, s, TOP), (200, s + 5, TOP + 90)) for s in (11.5, -16.5)]
    r = rooms(store, plate((0, 0)), *walls)
    found = volume(r, site(r), [(END,)], PETG)
    # Two sectors of 15 degrees of the bends, and the whole of what stands on the axis.
    axis = BODY + math.pi * 7**2 * (5 + 28 + 7)
    ring = turned_volume() - axis
    assert found.mm3 == pytest.approx(axis + ring * 30 / 360, rel=TUBE_REL)


def test_the_solid_meets_no_obstacle(store: Store) -> None:
    placed = [
        plate((0, 0)), brick((24, -40, TOP), (40, 40, TOP + 60)), brick((-60, 30, TOP + 5), (60, 60, TOP + 30)),
        brick((-35, -35, TOP + 40), (-30, -30, TOP + 45)),
    ]  # fmt: skip
    r = rooms(store, *placed)
    found = volume(r, site(r), kits(site(r), PETG, [END]), PETG)
    assert 0.1 < found.share < 0.95
    assert found.solid is not None
    own = manifold_of(found.solid.vertices, found.solid.triangles)
    for s in r.real:
        other = manifold_of(apply(s.pose, s.mesh.vertices), s.mesh.triangles)
        assert (own ^ other).volume() < 1e-6 * found.mm3, s.name


def test_solids_by_name_and_their_volume_in_the_finding(store: Store) -> None:
    s = scene(store, plate((-60, 0), (60, 0)), brick((-80, 12, TOP), (-30, 20, TOP + 50)))
    asked = plumbing({"a": [END], "b": [END]})
    solids = reach_solids(s, asked, store)
    findings = {f.about.port: f for f in check(s, asked, store) if "volume_cm3" in dict(f.extra)}
    assert set(solids) == {"plate.a", "plate.b"} == set(findings)
    for name, mesh in solids.items():
        told = dict(findings[name].extra)
        assert mesh_volume(mesh.vertices, mesh.triangles) / 1000 == pytest.approx(told["volume_cm3"], rel=1e-9)
    assert dict(findings["plate.a"].extra)["volume_share"] < dict(findings["plate.b"].extra)["volume_share"] == 1.0


def test_the_solid_reads_back_as_it_is(store: Store) -> None:
    """Walls all round leave many sectors: no sliver between them may be lost when the mesh is read again."""
    for gap in (20.0, 27.0, 33.0, 41.0):
        walls = [brick((gap, -60, TOP), (90, -20, TOP + 70)), brick((-70, gap, TOP), (5, 80, TOP + 90))]
        r = rooms(store, plate((0, 0)), *walls)
        found = volume(r, site(r), kits(site(r), PETG, [END]), PETG)
        assert found.solid is not None
        assert 0.2 < found.share < 1.0
        again = manifold_of(found.solid.vertices, found.solid.triangles)
        assert again.volume() == pytest.approx(found.mm3, rel=1e-9)
