"""What a user's STEP holds beyond plain solids: shells, loose faces, names, sizes, solids turned inside out.

Truth is the analytic volume of what was written, and gmsh, a reader with which this project shares no code of its own.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.geometry.drawing import draw, unpack
from elbowroom.parts.imported.imported import ImportedPart
from elbowroom.parts.imported.mesh_file import MOST_EXTENT
from elbowroom.parts.imported.step_census import census
from elbowroom.parts.imported.step_names import unique_names, useful_name
from elbowroom.parts.imported.unreadable import PartFileError


def written(path, *shapes, **names):
    """A STEP file of shapes side by side, as they are; with names, of one product each."""
    import cadquery as cq
    from OCP.BRep import BRep_Builder
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer
    from OCP.TopoDS import TopoDS_Compound

    if names:
        tree = cq.Assembly(name="top")
        for name, shape in names.items():
            tree.add(shape, name=name)
        tree.export(str(path))
        return str(path)
    whole, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(whole)
    for s in shapes:
        builder.Add(whole, s.wrapped)
    writer = STEPControl_Writer()
    writer.Transfer(whole, STEPControl_AsIs)
    writer.Write(str(path))
    return str(path)


def block(size=20.0, x=0.0):
    import cadquery as cq

    return cq.Solid.makeBox(size, size, size, cq.Vector(x, 0, 0))


def shell(solid, without=0, x=0.0):
    """The skin of a solid as a shell, some of its faces left out."""
    import cadquery as cq

    faces = solid.Faces()[without:]
    return cq.Shell.makeShell(faces).moved(cq.Location(cq.Vector(x, 0, 0)))


def gmsh_volumes(path):
    import gmsh

    gmsh.initialize()
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.model.occ.importShapes(str(path))
        gmsh.model.occ.synchronize()
        return sorted(gmsh.model.occ.getMass(3, tag) for _, tag in gmsh.model.getEntities(3))
    finally:
        gmsh.finalize()


def test_a_closed_shell_is_as_good_as_a_solid(tmp_path):
    import cadquery as cq

    path = written(tmp_path / "a.step", block(20), shell(block(10), x=50), shell(cq.Solid.makeCylinder(5, 8), x=100))
    part = ImportedPart(path=path)
    assert part.body_faults() == {}
    volumes = sorted(s.Volume() for s in part.solids().values())
    assert volumes == pytest.approx(sorted([8000, 1000, math.pi * 25 * 8]))
    meshes = unpack(draw(part).meshes)
    assert all(m.fault is None and m.volume_mm3 > 0 for m in meshes.values())


@pytest.mark.slow
@settings(max_examples=5, deadline=None)
@given(st.integers(1, 3), st.integers(0, 2), st.floats(1, 50))
def test_an_open_shell_is_never_passed_over(tmp_path_factory, without, solids, size):
    """However much of it is missing: it is a body of its own, named in a fault that counts what the file holds."""
    path = tmp_path_factory.mktemp("open") / "a.step"
    written(path, *(block(size, 100.0 * i) for i in range(solids)), shell(block(size), without, x=500))
    part = ImportedPart(path=str(path))
    if solids == 0:
        with pytest.raises(PartFileError, match=r"the STEP file holds surfaces but no solid \(1 open shell\)"):
            part.box()
        return
    (fault,) = part.body_faults().values()
    assert f"the file holds {solids} solid{'s' * (solids > 1)} and 1 open shell" in fault
    assert len(part.bodies()) == solids + 1
    assert part.box().hi[0] >= 500 - 1e-6
    assert [m.fault is None for m in unpack(draw(part).meshes).values()] == [True] * solids + [False]


@pytest.mark.slow
def test_loose_faces_that_close_up_are_a_solid_and_others_are_told(tmp_path):
    closed = ImportedPart(path=written(tmp_path / "a.step", block(5), *block(20, 100).Faces()))
    assert closed.body_faults() == {}
    assert sorted(s.Volume() for s in closed.solids().values()) == pytest.approx([125, 8000])
    loose = ImportedPart(path=written(tmp_path / "b.step", block(5), *block(20, 100).Faces()[:4]))
    assert "1 solid and 4 open shells" in "".join(loose.body_faults().values())


@pytest.mark.slow
def test_what_the_kernel_leaves_out_is_missed(tmp_path):
    """A solid whose shell names an entity that is not there is dropped by the kernel without a word."""
    path = tmp_path / "a.step"
    written(path, block(20), block(10, 50))
    text = path.read_text()
    assert census(str(path)).products == 2
    first = text.index("MANIFOLD_SOLID_BREP")
    at = text.index("#", first)
    path.write_text(text[:at] + "#99999" + text[text.index(")", at) :])
    with pytest.raises(PartFileError):
        ImportedPart(path=str(path)).box()
    cone = "#9999=RIGHT_CIRCULAR_CONE('',$,5.,2.,0.1);\nENDSEC;\nEND-ISO"
    path.write_text(text.replace("ENDSEC;\nEND-ISO", cone))
    with pytest.raises(PartFileError, match=r"1 body of a kind that is not read \(right circular cone\)"):
        ImportedPart(path=str(path)).box()


def test_bodies_keep_the_names_of_the_file(tmp_path):
    path = written(tmp_path / "a.step", lid=block(5), **{"Gehäuse 2": block(7, 50)})
    assert [b.name for b in ImportedPart(path=path).bodies()] == ["lid", "Gehäuse 2"]


@pytest.mark.slow
@settings(deadline=None)
@given(st.lists(st.text(max_size=60), max_size=8))
def test_names_are_shown_safely_and_told_apart(texts):
    names = unique_names([useful_name(t) for t in texts], [True] * len(texts))
    assert len({n.casefold() for n in names}) == len(texts)
    assert all(n.isprintable() and len(n) <= 45 and not set(n) & set("/\\<>&\"'") for n in names)
    assert useful_name("a\x1b[31mred") is None
    assert useful_name("solid 3") is None


@pytest.mark.slow
@pytest.mark.parametrize("turned", [False, True])
def test_a_solid_turned_inside_out_is_read_and_written_facing_outward(tmp_path, turned):
    import cadquery as cq

    solid = block(20)
    if turned:
        solid = cq.Shape.cast(solid.wrapped.Reversed())
    path = tmp_path / "a.step"
    written(path, solid)
    # The sense of the shell's use in the file, by which programs write a body inside out.
    text = path.read_text()
    (tmp_path / "b.step").write_text(text.replace(",.T.)", ",.X.)").replace(",.F.)", ",.T.)").replace(",.X.)", ",.F.)"))
    (read,) = ImportedPart(path=str(path)).solids().values()
    assert read.Volume() == pytest.approx(8000)
    assert read.wrapped.Orientation().name == "TopAbs_FORWARD"
    back = tmp_path / "back.step"
    written(back, read)
    assert gmsh_volumes(back) == pytest.approx([8000])


@pytest.mark.slow
@pytest.mark.parametrize("size", [MOST_EXTENT / 2 * 1.01, 10_000, 100_000])
def test_a_shape_larger_than_any_part_is_refused_with_a_word_on_its_unit(tmp_path, size):
    import cadquery as cq

    path = written(tmp_path / "a.step", cq.Solid.makeSphere(size, angleDegrees1=-90))
    with pytest.raises(PartFileError, match=r"mm long; the most that is read is 5,000\. Is the file's unit right\?"):
        ImportedPart(path=path).box()
