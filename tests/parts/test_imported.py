"""A user's STEP and STL files: sizes, units, content address, soundness of meshes, and refusals of broken files."""

from __future__ import annotations

import math
import tracemalloc
from itertools import product
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from elbowroom.parts.imported.imported import ImportedPart
from elbowroom.parts.imported.mesh_file import read_stl, weld
from elbowroom.parts.imported.shells import check_mesh, components, split, volume
from elbowroom.parts.imported.unreadable import PartFileError

SINGLE = 1e-5  # relative rounding of an STL's single-precision coordinates, with the sums made of them


def cube(size=10.0, at=(0.0, 0.0, 0.0), inward=False):
    """Corner points (12, 3, 3) of a cube's triangles, outward unless told otherwise."""
    v = np.array(list(product((0, 1), repeat=3)), dtype=float) * size + at
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    t = np.array([(q[0], q[i], q[i + 1]) for q in quads for i in (1, 2)])
    return v[t][:, ::-1] if inward else v[t]


def binary(corners, head=b""):
    record = np.zeros(len(corners), np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")]))
    record["c"] = corners
    return head.ljust(80, b" ") + len(corners).to_bytes(4, "little") + record.tobytes()


def ascii_stl(corners):
    facets = "".join(
        "facet normal 0 0 0\n outer loop\n"
        + "".join(f"  vertex {x:.9g} {y:.9g} {z:.9g}\n" for x, y, z in t)
        + " endloop\nendfacet\n"
        for t in corners
    )
    return f"solid part\n{facets}endsolid part\n".encode()


def write(tmp_path: Path, name: str, data: bytes) -> str:
    (tmp_path / name).write_bytes(data)
    return str(tmp_path / name)


@pytest.fixture
def step(tmp_path):
    """A block of 30 x 20 x 10 with a bore of 8, and a ball of 6 apart from it, written by the kernel in mm."""
    import cadquery as cq

    block = cq.Workplane().box(30, 20, 10).faces(">Z").workplane().hole(8)
    path = tmp_path / "two.step"
    cq.exporters.export(block.add(cq.Solid.makeSphere(3, cq.Vector(40, 0, 0), angleDegrees1=-90)), str(path))
    return path


# STL


@pytest.mark.parametrize("form", [binary, ascii_stl])
@pytest.mark.parametrize(("unit", "scale"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4)])
def test_stl_comes_out_in_millimetres(tmp_path, form, unit, scale):
    part = ImportedPart(path=write(tmp_path, "a.stl", form(cube(2.5, (1, 2, 3)))), unit=unit)
    vertices, triangles, fault = part.meshes()["solid-1"]
    assert fault is None
    assert (vertices.shape, triangles.shape, triangles.dtype) == ((8, 3), (12, 3), np.int32)
    assert part.box().lo == pytest.approx((scale, 2 * scale, 3 * scale))
    assert part.box().hi == pytest.approx((3.5 * scale, 4.5 * scale, 5.5 * scale))
    assert volume(vertices, triangles) == pytest.approx((2.5 * scale) ** 3)


def test_binary_that_begins_with_the_word_solid_is_read_as_binary(tmp_path):
    part = ImportedPart(path=write(tmp_path, "a.stl", binary(cube(), b"solid made by somebody")), unit="mm")
    assert part.box().size == (10, 10, 10)


def test_an_independent_reader_sees_the_same_mesh(tmp_path):
    """trimesh reads the same file to the same volume and extents."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=20.0)
    path = write(tmp_path, "ball.stl", binary(ball.vertices[ball.faces]))
    vertices, triangles = read_stl(Path(path))
    other = trimesh.load_mesh(path)
    assert len(vertices) == len(other.vertices) == len(ball.vertices)
    assert volume(vertices, triangles) == pytest.approx(other.volume, rel=SINGLE)
    assert check_mesh(vertices, triangles) is None


def test_stl_needs_a_unit_and_step_refuses_one(tmp_path, step):
    path = write(tmp_path, "a.stl", binary(cube()))
    with pytest.raises(ValidationError, match="an STL file carries no unit"):
        ImportedPart(path=path)
    with pytest.raises(ValidationError, match="a STEP file carries its own unit"):
        ImportedPart(path=str(step), unit="mm")


def test_separate_shells_are_bodies_and_voids_belong_to_the_body_around_them(tmp_path):
    corners = np.concatenate([cube(30), cube(10, (5, 5, 5), inward=True), cube(4, (100, 0, 0))])
    part = ImportedPart(path=write(tmp_path, "a.stl", binary(corners)), unit="mm")
    volumes = {n: volume(v, t) for n, (v, t, fault) in part.meshes().items() if fault is None}
    assert volumes == pytest.approx({"solid-1": 27000 - 1000, "solid-2": 64})
    assert [b.name for b in part.bodies()] == ["solid-1", "solid-2"]
    solids = part.solids()
    assert {n: s.Volume() for n, s in solids.items()} == pytest.approx(volumes)
    assert all(s.isValid() and s.ShapeType() == "Solid" for s in solids.values())


def test_corners_a_rounding_apart_are_welded_and_wider_gaps_are_not():
    near, wide = cube(9.0), cube(9.0)
    near[0] += (2e-5, 0, 0)
    wide[0] += (2e-2, 0, 0)
    assert check_mesh(*weld(near)) is None
    assert check_mesh(*weld(wide)).startswith("not closed: 6 open edges")


def test_too_many_facets_make_no_brep(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=6, radius=20.0)
    part = ImportedPart(path=write(tmp_path, "a.stl", binary(ball.vertices[ball.faces])), unit="mm")
    assert part.meshes()["solid-1"][2] is None
    with pytest.raises(PartFileError, match="81920 triangles are too many for a STEP file"):
        part.solids()


# Soundness


def _open(c):
    return np.delete(c, 3, axis=0)


def _flipped(c):
    c = c.copy()
    c[3] = c[3][::-1]
    return c


FAULTS = {
    "not closed: 3 open edges": _open(cube()),
    "not consistently oriented: 3 edges": _flipped(cube()),
    "inside out: a shell of 12 triangles": cube(inward=True),
    "12 triangles drawn more than once": np.concatenate([cube(), cube()]),
    "not a surface: 1 edge shared by more than two": np.concatenate([cube(), cube(10, (10, 10, 0))]),
    "it has no triangles": np.empty((0, 3, 3)),
}


@pytest.mark.parametrize("words", FAULTS)
def test_each_fault_is_named(words):
    assert check_mesh(*weld(FAULTS[words])).startswith(words)


def test_a_void_outside_any_body_is_inside_out_even_where_the_total_is_positive():
    mesh = weld(np.concatenate([cube(30), cube(5, (100, 0, 0), inward=True)]))
    assert volume(*mesh) > 0
    assert check_mesh(*mesh).startswith("inside out: a shell of 12 triangles faces inward near (10")


def test_the_place_of_an_open_edge_is_named():
    corners = cube(10, (100, 200, 300))
    hole = corners[3].mean(axis=0)
    said = check_mesh(*weld(_open(corners)))
    at = np.array([float(c) for c in said[said.index("(") + 1 : said.index(")")].split(", ")])
    assert np.linalg.norm(at - hole) < 10


def test_needle_and_flat_shells_are_refused():
    v, t = weld(cube())
    mid = (v[t[0, 0]] + v[t[0, 1]]) / 2
    assert check_mesh(np.vstack([v, mid]), np.vstack([t, [[t[0, 0], t[0, 1], 8]]])).startswith("degenerate: 1 triangle")
    flat = cube()
    flat[..., 2] *= 1e-8
    assert check_mesh(*weld(flat)).startswith(("zero volume", "degenerate"))
    sheet = np.array([[(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 0, 0), (0, 1, 0), (1, 0, 0)]], dtype=float)
    assert check_mesh(*weld(sheet)) is not None


def test_faulty_mesh_is_one_body_that_carries_its_fault(tmp_path):
    part = ImportedPart(path=write(tmp_path, "a.stl", binary(_open(cube()))), unit="mm")
    ((_, _, fault),) = part.meshes().values()
    assert fault.startswith("not closed: 3 open edges near (")
    with pytest.raises(PartFileError, match="no solid can be made of this mesh: not closed"):
        part.solids()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 5))
def test_triangle_order_does_not_matter(seed, n):
    """Shuffled soups of separate cubes weld to as many shells, each of its own volume."""
    rng = np.random.default_rng(seed)
    sizes = rng.uniform(1, 9, n)
    corners = np.concatenate([cube(s, (20.0 * i, 0, 0)) for i, s in enumerate(sizes)])
    corners = corners[rng.permutation(len(corners))]
    corners = np.array([np.roll(t, rng.integers(3), axis=0) for t in corners])
    vertices, triangles = weld(corners)
    assert check_mesh(vertices, triangles) is None
    assert len(components(triangles)) == n
    assert sorted(volume(v, t) for v, t in split(vertices, triangles)) == pytest.approx(sorted(sizes**3))


@pytest.mark.parametrize("unit", ["mm", "cm", "m", "in"])
@settings(max_examples=15, deadline=None)
@given(st.floats(0.002, 0.5), st.integers(0, 11))
def test_a_gap_is_as_open_in_any_unit(tmp_path_factory, unit, proud, triangle):
    """What stands open by some hundredths of a millimetre is open, whatever unit the file counts in."""
    scale = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}[unit]
    corners = cube(30.0)
    corners[triangle] += proud
    path = tmp_path_factory.mktemp("gap") / "a.stl"
    path.write_bytes(ascii_stl(corners / scale))
    ((_, _, fault),) = ImportedPart(path=str(path), unit=unit).meshes().values()
    assert fault is not None
    assert fault.startswith("not closed")


@settings(max_examples=20, deadline=None)
@given(st.lists(st.booleans(), min_size=1, max_size=4), st.booleans())
def test_shells_face_outward_whichever_way_the_file_has_them(tmp_path_factory, inward, hollow):
    """A closed surface encloses the same room either way; a void inside one that is turned is turned with it."""
    shells = [cube(9.0, (20.0 * i, 0, 0), inward=way) for i, way in enumerate(inward)]
    if hollow:
        shells.append(cube(3.0, (3, 3, 3), inward=not inward[0]))
    path = tmp_path_factory.mktemp("turned") / "a.stl"
    path.write_bytes(binary(np.concatenate(shells)))
    meshes = ImportedPart(path=str(path), unit="mm").meshes().values()
    assert all(fault is None for _, _, fault in meshes)
    total = sum(volume(v, t) for v, t, _ in meshes)
    assert total == pytest.approx(729.0 * len(inward) - 27.0 * hollow)


def test_more_triangles_than_are_judged_are_refused_by_their_number(tmp_path):
    data = b" " * 80 + (400_001).to_bytes(4, "little") + bytes(50 * 400_001)
    with pytest.raises(ValidationError, match="400001 triangles; more than 400000 are not read"):
        ImportedPart(path=write(tmp_path, "a.stl", data), unit="mm")


@pytest.mark.parametrize(("at", "unit"), [((0, 0, 0), "m"), ((2e5, 0, 0), "mm")])
def test_a_mesh_larger_or_farther_off_than_any_part_is_refused_with_a_word_on_its_unit(tmp_path, at, unit):
    with pytest.raises(ValidationError, match="is the unit right"):
        ImportedPart(path=write(tmp_path, "a.stl", binary(cube(10.0, at))), unit=unit)


# STEP


def test_step_solids_are_bodies(step):
    part = ImportedPart(path=str(step))
    assert [b.name for b in part.bodies()] == ["solid-1", "solid-2"]
    volumes = {n: s.Volume() for n, s in part.solids().items()}
    expected = {"solid-1": 30 * 20 * 10 - math.pi * 16 * 10, "solid-2": 4 / 3 * math.pi * 27}
    assert volumes == pytest.approx(expected, rel=1e-9)
    assert part.box().lo == pytest.approx((-15, -10, -5), abs=1e-6)
    assert part.box().hi == pytest.approx((43, 10, 5), abs=1e-6)


def test_step_in_inches_comes_out_in_millimetres(tmp_path):
    """A cube of one inch, its unit written as the standard's CONVERSION_BASED_UNIT."""
    import cadquery as cq
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer

    path = tmp_path / "inch.step"
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.unit", "INCH")
    try:
        writer.Transfer(cq.Solid.makeBox(25.4, 25.4, 25.4).wrapped, STEPControl_AsIs)
        writer.Write(str(path))
    finally:
        Interface_Static.SetCVal_s("write.step.unit", "MM")
    text = path.read_text()
    assert "CONVERSION_BASED_UNIT('INCH'" in text
    assert "CARTESIAN_POINT('',(1." in text or "1.,1.,1." in text  # the file itself counts in inches
    assert ImportedPart(path=str(path)).box().size == pytest.approx((25.4, 25.4, 25.4), abs=1e-6)


def test_step_without_a_solid_says_what_it_holds(tmp_path):
    import cadquery as cq

    path = tmp_path / "face.step"
    cq.exporters.export(cq.Workplane().add(cq.Face.makePlane(10, 10)), str(path))
    with pytest.raises(PartFileError, match=r"face\.step: the STEP file holds surfaces but no solid"):
        ImportedPart(path=str(path)).box()


@pytest.mark.slow
def test_a_file_that_crashes_the_kernel_is_an_error_in_words_and_nothing_is_printed(step, capfd):
    """Points renamed to an unknown entity stop the kernel's reader with a segmentation fault; this process goes on."""
    broken = step.with_name("broken.step")
    broken.write_bytes(step.read_bytes().replace(b"CARTESIAN_POINT", b"CARTESIAN_JOINT"))
    with pytest.raises(PartFileError, match=r"broken\.step: malformed STEP"):
        ImportedPart(path=str(broken)).box()
    ImportedPart(path=str(step)).box()
    print("still heard")
    out, err = capfd.readouterr()
    assert (out, err) == ("still heard\n", "")


# Files that are none


def _junk(n=10_000_000):
    return np.random.default_rng(7).bytes(n)


STEP_HEAD = b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\n"
STEP_FOOT = b"\nENDSEC;\nEND-ISO-10303-21;\n"
BROKEN = {
    "empty.stl": (b"", "the file is empty"),
    "short.stl": (b"abc", "not an STL"),
    "junk.stl": (_junk(), "not an STL: it announces"),
    "cut.stl": (binary(cube())[:-70], "cut short: 12 triangles announced, 10 held"),
    "none.stl": (binary(np.empty((0, 3, 3))), "holds no triangles"),
    "many.stl": (b"solid".ljust(80) + (3_000_000).to_bytes(4, "little"), "not an STL"),
    "nan.stl": (binary(np.where(np.arange(36).reshape(12, 3, 1) == 7, np.nan, cube())), "triangle 3 has a coordinate"),
    "blank.stl": (b"solid x\n" + b"\n" * 10_000_000, "cut short: no 'endsolid'"),
    "word.stl": (b"solid " + b"vertex " * 1_500_000, "cut short: no 'endsolid'"),
    "two.stl": (ascii_stl(cube()).replace(b"vertex 0 0 0", b"vertex 0 0", 1), "vertex 1 has not three .*'0 0'"),
    "text.stl": (ascii_stl(cube()).replace(b"vertex 0 0 0", b"vertex 0 x 0", 1), "vertex 1: not a number: 'x'"),
    "lost.stl": (ascii_stl(cube()).replace(b"vertex 0 0 0", b"", 1), "12 facets have 35 vertices, not 36"),
    "endless.stl": (ascii_stl(cube()).replace(b"endsolid", b""), "cut short: no 'endsolid'"),
    "empty.step": (b"", "the file is empty"),
    "junk.step": (_junk(), "not a STEP file: it does not begin"),
    "junk2.step": (b"ISO-10303-21;\n" + _junk(), "cut short: no 'END-ISO"),
    "deep.step": (STEP_HEAD + b"#1=A((((((((((" * 700_000 + STEP_FOOT, "brackets that do not close"),
    "nothing.step": (STEP_HEAD + STEP_FOOT, "holds no shape"),
    "garbage.step": (STEP_HEAD + b"#1=;;=#2(=);" + STEP_FOOT, "STEP"),
    "shape.obj": (b"v 0 0 0", "not a STEP or STL file by its name"),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_broken_files_are_refused_in_words(tmp_path, name):
    data, words = BROKEN[name]
    path = write(tmp_path, name, data)
    with pytest.raises(ValueError, match=words) as caught:
        ImportedPart(path=path, unit="mm" if name.endswith(".stl") else None).box()
    assert name in str(caught.value)


ONE = b"solid x\nfacet\n%sendsolid"
HOSTILE = {
    "many.stl": (lambda: ONE % (b"vertex 1\n" * 2_000_000), "1 facets have 2000000 vertices"),
    "wide.stl": (lambda: ONE % ((b"vertex " + b"1 " * 3_000_000 + b"\n") * 3), "has not three coordinates"),
    "long.stl": (lambda: ONE % ((b"vertex 1 2 " + b"1" * 6_000_000 + b"\n") * 3), "has not three coordinates"),
    "deep.step": (lambda: STEP_HEAD + b"#1=A((((((((((" * 1_400_000 + STEP_FOOT, "brackets that do not close"),
    "flat.step": (lambda: STEP_HEAD + b"()" * 10_000_000 + b")" + STEP_FOOT, "brackets that do not close"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_text_takes_little_more_memory_than_itself(tmp_path, name):
    """The largest file that is read has 200 MB, and a run must stay under 2 GB."""
    made, words = HOSTILE[name]
    path, size = write(tmp_path, name, data := made()), len(data)
    del data
    tracemalloc.start()  # numpy's arrays are counted, too
    try:
        with pytest.raises(ValueError, match=words):
            ImportedPart(path=path, unit="mm" if name.endswith(".stl") else None)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 3 * size + 150e6


def test_missing_file_and_folder_are_refused(tmp_path):
    with pytest.raises(ValidationError, match=r"no\.stl: cannot be read: No such file"):
        ImportedPart(path=str(tmp_path / "no.stl"), unit="mm")
    (tmp_path / "folder.stl").mkdir()
    with pytest.raises(ValidationError, match="not a file"):
        ImportedPart(path=str(tmp_path / "folder.stl"), unit="mm")


# Content address


def test_shape_key_follows_the_bytes_and_not_the_path(tmp_path):
    a = ImportedPart(path=write(tmp_path, "a.stl", binary(cube())), unit="mm")
    same = ImportedPart(path=write(tmp_path, "b.stl", binary(cube())), unit="mm")
    other = ImportedPart(path=write(tmp_path, "c.stl", binary(cube(11))), unit="mm")
    assert a.shape_key() == same.shape_key()
    assert len({a.shape_key(), other.shape_key(), ImportedPart(path=a.path, unit="cm").shape_key()}) == 3


def test_an_overwritten_file_is_read_again_and_its_stated_digest_refused(tmp_path):
    path = write(tmp_path, "a.stl", binary(cube()))
    old = ImportedPart(path=path, unit="mm")
    digest = old.file_digest()
    assert ImportedPart(path=path, unit="mm", digest=digest).box().size == (10, 10, 10)
    write(tmp_path, "a.stl", binary(np.concatenate([cube(11), cube(3, (50, 0, 0))])))
    assert ImportedPart(path=path, unit="mm").box().size == (53, 11, 11)
    with pytest.raises(ValidationError, match=r"a\.stl has changed"):
        ImportedPart(path=path, unit="mm", digest=digest)


# What the build declares on it


def test_declared_ports_holes_and_faces(tmp_path):
    part = ImportedPart(
        path=write(tmp_path, "a.stl", binary(cube(40))),
        unit="mm",
        ports=[{"name": "in", "at": (40, 20, 20), "out": (2, 0, 0), "up": (0, 0, 1), "flow": "in"}],
        holes=[{"at": (x, 5, 40), "out": (0, 0, 1), "up": (1, 0, 0), "diameter": 4.3} for x in (5, 35)],
        faces=[
            {"name": "bottom", "at": (20, 20, 1), "out": (0, 0, -1)},
            {"name": "pad", "at": (0, 0, 0), "out": (-1, 0, 0)},
        ],
    )
    port = part.frame("in")
    assert (port.kind, port.thread, port.flow) == ("port", "G1/4", "in")
    assert port.pose[:3, 2].tolist() == [1, 0, 0]
    assert port.pose[:3, 0].tolist() == [0, 0, 1]
    assert part.frame("bottom").pose[:3, 3].tolist() == [20, 20, 1]  # the declared face takes the box's place
    assert {f.name for f in part.frames()} == {"top", "left", "right", "front", "back", "bottom", "pad", "in"}
    (pattern,) = part.patterns()
    assert pattern.pose[:3, 3].tolist() == [5, 5, 40]
    assert [(h.x, h.y, h.diameter) for h in pattern.holes] == [(0, 0, 4.3), (30, 0, 4.3)]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"ports": [{"name": "in", "at": (0, 0, 0), "out": (0, 0, 0)}]}, "out must not be 0, 0, 0"),
        ({"ports": [{"name": "in", "at": (0, 0, 0), "out": (0, 0, 1), "up": (0, 0, 2)}]}, "parallel to out"),
        ({"faces": [{"name": n, "at": (0, 0, 0), "out": (0, 0, 1)} for n in "aa"]}, "names used more than once: a"),
        (
            {"holes": [{"at": (0, 0, z), "out": (0, 0, 1), "diameter": 3} for z in (0, 1)]},
            "holes of pattern 'holes' do not lie in one plane",
        ),
    ],
)
def test_unsound_declarations_are_refused(tmp_path, fields, words):
    with pytest.raises(ValidationError, match=words):
        ImportedPart(path=write(tmp_path, "a.stl", binary(cube())), unit="mm", **fields)
