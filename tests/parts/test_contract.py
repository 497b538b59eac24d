"""The contract every part family keeps, held against every catalogue row and every family's defaults.

What a part declares - bodies, extents, ports, faces, holes, frames, fields - is compared with what the kernel draws.
Each part is drawn once for all its tests; solids are never triangulated, so extents are those of the exact surfaces.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
import subprocess
import sys
import typing
from functools import cache, lru_cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from cadquery import Shape
from pydantic import BaseModel

from elbowroom.parts.catalogue import sizes
from elbowroom.parts.families import FAMILIES, family_class
from elbowroom.parts.vocabulary.base import MARKS, Frame, Part
from elbowroom.parts.vocabulary.measure import Measure
from elbowroom.parts.vocabulary.pose import apply, turn
from elbowroom.parts.vocabulary.threads import thread
from tests.parts.probe import KERNEL_MM, SKIN, Inside, extents

# mm: the kernel finds the extents of swept pipes and of surfaces of revolution by search, to a hundred of its own
# tolerances (1e-7) and a little; flat faces agree to KERNEL_MM.
BOX_MM = 1e-4
# mm3: the intersection of bodies whose faces coincide is empty up to slivers of 1e-7 mm times their area.
SHARED_MM3 = 1e-3
# Sine below which a drawn face counts as parallel to its frame: rounding of a few trigonometric functions.
PARALLEL = 1e-9
THREAD = 4.0  # mm: the shortest male thread of a fitting; common practice (P)
LIP = 0.3  # mm kept from the bottom of a bore, which a cone or an edge break may occupy

# Families whose fields cannot all have defaults: what a part of them needs to exist.
NEEDED: dict[str, dict[str, object]] = {
    "cable": {"points": [[0, 0, 0], [100, 0, 0], [100, 90, 0], [100, 90, 80]]},
    "tube": {"points": [[0, 0, 0], [120, 0, 0], [120, 120, 0]]},
    "file": {"path": "block.stl", "unit": "mm"},
}
UNITLESS = {"out", "up"}  # directions, of any length

ROWS = [(family, row) for family in FAMILIES for row in (*sizes(family), "defaults")]
NAMES = [f"{f}/{r}" for f, r in ROWS]
# Drawing all rows takes a minute of computing time: quick runs draw the first row and the defaults of each family.
SOON = {pair for family in FAMILIES for pair in ((family, next(iter(sizes(family)), "")), (family, "defaults"))}
MARKED = [pytest.param(*pair, marks=() if pair in SOON else pytest.mark.slow) for pair in ROWS]
# Of module scope: then all tests of one part run one after the other, and its drawing is let go.
parts = pytest.mark.parametrize(("family", "row"), MARKED, ids=NAMES, scope="module")
declared = pytest.mark.parametrize(("family", "row"), ROWS, ids=NAMES, scope="module")


@cache
def make(family: str, row: str) -> Part:
    fields = dict(NEEDED.get(family, {}))
    if family == "file":
        fields["path"] = str(block_file())
    if row != "defaults":
        fields |= dict(sizes(family)[row].fields)
    return family_class(family)(**fields)


@cache
def block_file() -> Path:
    """A user's file for the `file` family: a block of 30 x 20 x 10 as STL text, in the test run's own folder."""
    import tempfile

    v = [(x, y, z) for x in (0, 30) for y in (0, 20) for z in (0, 10)]
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    facets = ""
    for q in quads:
        for t in ((q[0], q[1], q[2]), (q[0], q[2], q[3])):
            corners = "".join(f"vertex {v[i][0]} {v[i][1]} {v[i][2]}\n" for i in t)
            facets += f"facet normal 0 0 0\nouter loop\n{corners}endloop\nendfacet\n"
    path = Path(tempfile.mkdtemp(prefix="elbowroom-contract-")) / "block.stl"
    path.write_text(f"solid block\n{facets}endsolid block\n")
    return path


FIRST: dict[tuple[str, str], dict[str, bytes]] = {}  # digests of what was drawn first, by family and row


@lru_cache(maxsize=1)
def drawn(family: str, row: str) -> dict[str, Shape]:
    solids = make(family, row).solids()
    FIRST.setdefault((family, row), digests(solids))
    return solids


def digests(solids: dict[str, Shape]) -> dict[str, bytes]:
    """Of bodies no question was put to yet: some of the kernel's answers leave a trace in them."""
    return {name: hashlib.sha256(brep(s)).digest() for name, s in solids.items()}


def real(part: Part, solids: dict[str, Shape]) -> dict[str, Shape]:
    return {b.name: solids[b.name] for b in part.bodies() if b.keep_out is None}


@lru_cache(maxsize=1)
def inside(family: str, row: str) -> Inside:
    return Inside(real(make(family, row), drawn(family, row)))


@parts
def test_every_body_is_drawn_as_one_valid_solid(family, row):
    part, solids = make(family, row), drawn(family, row)
    names = [b.name for b in part.bodies()]
    assert len(names) == len(set(names))
    assert set(solids) == set(names)
    assert real(part, solids)
    for name, shape in solids.items():
        assert shape.ShapeType() == "Solid", name
        assert shape.isValid(), name
        assert shape.Volume() > 0, name


@parts
def test_declared_box_is_the_drawn_one(family, row):
    part = make(family, row)
    boxes = [extents(s) for s in real(part, drawn(family, row)).values()]
    np.testing.assert_allclose(part.box().lo, np.min([b[0] for b in boxes], axis=0), rtol=0, atol=BOX_MM)
    np.testing.assert_allclose(part.box().hi, np.max([b[1] for b in boxes], axis=0), rtol=0, atol=BOX_MM)


@parts
def test_bodies_of_a_part_share_no_volume(family, row):
    solids = real(make(family, row), drawn(family, row))
    boxes = {name: extents(s) for name, s in solids.items()}
    for a, b in combinations(solids, 2):
        (al, ah), (bl, bh) = boxes[a], boxes[b]
        if all(min(ah[i], bh[i]) - max(al[i], bl[i]) > KERNEL_MM for i in range(3)):
            assert solids[a].intersect(solids[b]).Volume() < SHARED_MM3, f"{a} and {b}"


@pytest.mark.parametrize(("family", "row"), MARKED, ids=NAMES)
def test_drawing_twice_gives_the_same_bytes(family, row):
    """What the disk cache rests on: the same dimensions draw the same B-rep, byte for byte, whatever was drawn between:
    this comes when every other row has been drawn."""
    if (family, row) not in FIRST:
        drawn(family, row)
    assert FIRST[family, row] == digests(make(family, row).solids())


def brep(shape: Shape) -> bytes:
    out = io.BytesIO()
    shape.exportBin(out)
    return out.getvalue()


@declared
def test_frames_are_rigid_named_once_and_of_real_bodies(family, row):
    part = make(family, row)
    bodies = {b.name for b in part.bodies()}
    frames = part.frames()
    names = [f.name for f in frames]
    assert len(names) == len(set(names))
    assert part.seat is None or part.seat in names
    for f in frames:
        m = np.asarray(f.pose)
        np.testing.assert_allclose(m[:3, :3] @ m[:3, :3].T, np.eye(3), atol=1e-12, err_msg=f.name)
        assert np.linalg.det(m[:3, :3]) == pytest.approx(1.0), f.name
        assert m[3].tolist() == [0, 0, 0, 1], f.name
        assert set(f.bodies) <= bodies, f.name
        assert f.bodies, f.name
        assert part.frame(f.name).name == f.name
    for p in part.patterns():
        assert p.body in bodies, p.name
        assert p.holes, p.name


@parts
def test_bores_of_ports_are_open_and_walled(family, row):
    """On each threaded port's axis there is void before the seal land and down to the bore's bottom, and around the
    bore there is material of the bodies the port names, as deep as the shortest male thread; below that a channel may
    open into it."""
    for f in make(family, row).frames():
        if f.kind != "port" or f.thread is None or f.depth is None:
            continue
        space, radius = inside(family, row), thread(f.thread).bore / 2
        for z in (*np.linspace(3.0, 0.5, 6), *np.linspace(-0.05, -f.depth + LIP, 8)):
            assert space.body(apply(f.pose, (0, 0, z))) is None, f"{f.name}: not open at {z:.2f}"
        for z in np.linspace(-0.2, -min(THREAD - SKIN, f.depth - LIP), 4):
            ring = [
                apply(f.pose, ((radius + 0.3) * math.cos(a), (radius + 0.3) * math.sin(a), z))
                for a in np.linspace(0, 2 * math.pi, 8, endpoint=False)
            ]
            walled = sum(space.body(at) in f.bodies for at in ring)
            assert walled == 8, f"{f.name}: {walled} of 8 points of its wall are material at {z:.2f}"


def lies_on(face: Shape, frame: Frame) -> bool:
    """Whether a flat drawn face lies in the frame's plane, faces its way, and meets its footprint."""
    if face.geomType() != "PLANE":
        return False
    z, origin = frame.pose[:3, 2], frame.pose[:3, 3]
    centre = np.array(face.Center().toTuple())
    if abs(float((centre - origin) @ z)) > BOX_MM or float(np.array(face.normalAt().toTuple()) @ z) < 1 - PARALLEL:
        return False
    if frame.size is None:
        return True
    lo, hi = (np.array(e) for e in extents(face))
    for axis, half in zip((0, 1), (frame.size[0] / 2, frame.size[1] / 2), strict=True):
        d = turn(frame.pose, np.eye(3)[axis])
        reach = float(np.abs(d) @ (hi - lo)) / 2
        if abs(float(((lo + hi) / 2 - origin) @ d)) > half + reach + BOX_MM:
            return False
    return True


@parts
def test_faces_that_others_meet_are_drawn_faces(family, row):
    """A `face` frame lies in a flat face of one of its bodies, and that face looks the frame's way."""
    solids = drawn(family, row)
    for f in make(family, row).frames():
        if f.kind == "face":
            assert any(lies_on(face, f) for b in f.bodies for face in solids[b].Faces()), f.name


@parts
def test_holes_are_void_and_walled(family, row):
    """Hole centres are void from before the face into the bore, and a hole's rim is material; a pattern over several
    bodies (standoffs, corner pads) names but one of them, and a slot may open to an edge."""
    part = make(family, row)
    for p in part.patterns():
        space = inside(family, row)
        for h in p.holes:
            for z in (0.5, -0.05, *(() if h.depth is None else (-h.depth / 2, -h.depth + min(LIP, h.depth / 4)))):
                assert space.body(apply(p.pose, (h.x, h.y, z))) is None, f"{p.name} {h}: not open at {z}"
            a = math.radians(h.angle)
            rim = [
                (
                    h.x + k * h.slot / 2 * math.cos(a) + r * math.cos(t),
                    h.y + k * h.slot / 2 * math.sin(a) + r * math.sin(t),
                )
                for r in (h.diameter / 2 + 0.05,)
                for k, t in zip((1, 0, -1, 0), (a, a + math.pi / 2, a + math.pi, a - math.pi / 2), strict=True)
            ]
            walled = sum(space.body(apply(p.pose, (x, y, -0.05))) is not None for x, y in rim)
            assert walled >= 2, f"{p.name} {h}: {walled} of 4 points of its rim are material"


@declared
def test_catalogue_rows_cite_their_sources(family, row):
    if row == "defaults":
        assert family_class(family).family == family
        return
    size, fields = sizes(family)[row], family_class(family).model_fields
    assert size.family == family
    assert len(size.about) > 10
    assert set(size.sources) == set(size.fields) <= set(fields)
    for source, mark in size.sources.values():
        assert len(source) > 10
        assert mark in MARKS
        assert mark == "C" or "transcribed" not in source, f"{row}: what public code transcribed was not read by us"


def test_rows_of_a_family_differ():
    for family in FAMILIES:
        keys = [make(family, row).shape_key() for row in sizes(family)]
        assert len(keys) == len(set(keys)), family


@pytest.mark.parametrize("family", FAMILIES)
def test_every_field_says_what_it_is_and_what_it_rests_on(family):
    """Description, source, mark; and no bare float: a length, angle, volume or power has its unit in its type."""
    for where, name, field in fields_of(family_class(family)):
        extra = field.json_schema_extra
        said = f"{where}.{name}"
        assert field.description, said
        assert isinstance(extra, dict), said
        assert extra["source"], said
        assert extra["mark"] in MARKS, said
        if name not in UNITLESS:
            assert float not in leaves(field.annotation), f"{said} has no unit"


def fields_of(model: type[BaseModel], seen: frozenset[type] = frozenset()):
    """Every field of a model and of the models inside it."""
    for name, field in model.model_fields.items():
        yield model.__name__, name, field
        for leaf in leaves(field.annotation):
            if isinstance(leaf, type) and issubclass(leaf, BaseModel) and leaf not in seen:
                yield from fields_of(leaf, seen | {leaf})


def leaves(annotation) -> set:
    """The plain types an annotation is made of."""
    inner = typing.get_args(annotation)
    if typing.get_origin(annotation) is typing.Literal:
        return set()
    return set().union(*(leaves(a) for a in inner)) if inner else {annotation}


def test_measures_are_the_only_numbers_with_units():
    assert issubclass(Measure, float)
    assert {float, int} & leaves(tuple[int, float]) == {float, int}  # the walk above sees what it must


def test_declaring_parts_loads_no_kernel():
    """Every family's every row is declared, with box, bodies, frames and patterns, without the geometry kernel."""
    code = (
        "import sys, json\n"
        "from elbowroom.parts.families import FAMILIES, family_class\n"
        "from elbowroom.parts.catalogue import sizes\n"
        "needed = json.loads(sys.argv[1])\n"
        "for f in FAMILIES:\n"
        "    for row in ({}, *(dict(s.fields) for s in sizes(f).values())):\n"
        "        p = family_class(f)(**{**needed.get(f, {}), **row})\n"
        "        p.box(), p.bodies(), p.frames(), p.patterns(), p.shape_key(), p.coolant_ml(), p.air_flow()\n"
        "heavy = {'OCP', 'cadquery', 'trimesh', 'manifold3d', 'coal'} & set(sys.modules)\n"
        "sys.exit(f'loaded {sorted(heavy)}' if heavy else 0)\n"
    )
    needed = json.dumps({**NEEDED, "file": {"path": str(block_file()), "unit": "mm"}})
    done = subprocess.run([sys.executable, "-c", code, needed], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
