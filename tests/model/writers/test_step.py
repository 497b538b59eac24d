"""STEP: read back by gmsh and, in a fresh process, by the kernel's own reader."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import gmsh
import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.store import Store
from elbowroom.model.writers import write
from elbowroom.model.writers.job import Job
from elbowroom.model.writers.materials import KEEP_OUT, LOOKS
from elbowroom.model.writers.part21 import canonical, encoded
from elbowroom.parts.imported.imported import ImportedPart
from elbowroom.parts.vocabulary.pose import shift

VOLUME_REL = 1e-6  # two integrations of the same exact surfaces by one kernel family; measured below 1e-9
BOX_MM = 2e-6  # gmsh grows an exact box by the kernel's vertex tolerance of 1e-7 each side, and by more after a turn

READER = r"""
import json, sys
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label, TDF_LabelSequence
from OCP.TDocStd import TDocStd_Document
from OCP.XCAFDoc import XCAFDoc_DocumentTool, XCAFDoc_ShapeTool
document = TDocStd_Document(TCollection_ExtendedString("read"))
reader = STEPCAFControl_Reader(); reader.SetNameMode(True)
reader.ReadFile(sys.argv[1]); reader.Transfer(document)
def name(label):
    found = TDataStd_Name()
    return found.Get().ToExtString() if label.FindAttribute(TDataStd_Name.GetID_s(), found) else None
def listed(labels):
    return [labels.Value(i) for i in range(1, labels.Length() + 1)]
def tree(label):
    product, own, below = label, name(label), TDF_LabelSequence()
    if XCAFDoc_ShapeTool.IsReference_s(label):
        product = TDF_Label(); XCAFDoc_ShapeTool.GetReferredShape_s(label, product)
    XCAFDoc_ShapeTool.GetComponents_s(product, below, False)
    return [own, name(product), [tree(l) for l in listed(below)]]
free = TDF_LabelSequence()
XCAFDoc_DocumentTool.ShapeTool_s(document.Main()).GetFreeShapes(free)
print(json.dumps([tree(l)[1:] for l in listed(free)]))
"""


def read_names(path: Path) -> Any:
    done = subprocess.run([sys.executable, "-c", READER, str(path)], capture_output=True, check=True, timeout=120)
    return json.loads(done.stdout.decode("ascii").splitlines()[-1])


@pytest.fixture
def kernel() -> Iterator[Any]:
    gmsh.initialize(["-noenv"], readConfigFiles=False, interruptible=False)
    gmsh.option.setNumber("General.Terminal", 0)
    yield gmsh.model
    gmsh.finalize()


def in_tree(scene: Scene) -> dict[str, Solid]:
    """Every body by the path of names that gmsh makes of a nested occurrence: occurrence and product at each level."""
    labels = Job(scene, [], Store.default().folder).labels
    found = {}
    for s in scene.solids:
        kept = s.body.keep_out is not None
        assembly = "keep-outs" if kept else s.piece.assembly
        label = labels[s.shape.key] + (" keep-outs" if kept else "")
        names = (scene.layout.title, assembly, assembly, s.piece.name, label, s.body.name, f"{label} {s.body.name}")
        found["Shapes/" + "/".join(names)] = s
    return found


def test_gmsh_reads_every_body_with_name_volume_box_and_colour(written: Path, scene: Scene, kernel: Any) -> None:
    kernel.occ.importShapes(str(written / "assembly.step"))
    kernel.occ.synchronize()
    wanted, seen = in_tree(scene), set()
    solids = kernel.getEntities(3)
    assert len(solids) == len(scene.solids)
    for dim, tag in solids:
        name = kernel.getEntityName(dim, tag)
        solid = wanted[name]
        seen.add(name)
        assert kernel.occ.getMass(dim, tag) == pytest.approx(solid.mesh.volume_mm3, rel=VOLUME_REL)
        box = np.array(kernel.occ.getBoundingBox(dim, tag))
        # The true surface lies no farther from the mesh than its bound; the kernel's own box is never smaller.
        slack = solid.mesh.bound + BOX_MM
        assert (box[:3] <= solid.lo + BOX_MM).all()
        assert (box[3:] >= solid.hi - BOX_MM).all()
        if np.allclose(np.abs(solid.pose[:3, :3]).sum(axis=0), 1.0, atol=1e-12):  # else a kernel's box may be loose
            assert box == pytest.approx(np.r_[solid.lo, solid.hi], abs=slack)
        look = KEEP_OUT if solid.body.keep_out is not None else LOOKS[solid.body.material]
        assert kernel.getColor(dim, tag)[:3] == pytest.approx([c * 255 for c in look.colour], abs=1)
    assert seen == set(wanted)


@pytest.mark.slow
def test_names_of_nested_occurrences_and_products_read_back_in_a_fresh_process(written: Path, scene: Scene) -> None:
    labels = Job(scene, [], Store.default().folder).labels
    wanted: list[Any] = []
    for kept in (False, True):
        for s in scene.solids:
            if (s.body.keep_out is not None) != kept:
                continue
            assembly = "keep-outs" if kept else s.piece.assembly
            # A sub-assembly of the build that is called "keep-outs" stays apart from the real keep-outs.
            level = next((a for a in wanted if a[0] == assembly and a[3] == kept), None)
            if level is None:
                level = [assembly, assembly, [], kept]
                wanted.append(level)
            label = labels[s.shape.key] + (" keep-outs" if kept else "")
            if not level[2] or level[2][-1][0] != s.piece.name:
                level[2].append([s.piece.name, label, []])
            level[2][-1][2].append([s.body.name, f"{label} {s.body.name}", []])
    assert read_names(written / "assembly.step") == [[scene.layout.title, [level[:3] for level in wanted]]]


def test_pieces_of_one_shape_share_its_geometry(written: Path, scene: Scene) -> None:
    text = (written / "assembly.step").read_bytes().decode("ascii")
    assert text.count("= MANIFOLD_SOLID_BREP(") == len({(s.shape.key, s.body.name) for s in scene.solids})
    assert set(re.findall(r"LENGTH_UNIT\(\) NAMED_UNIT\(\*\) SI_UNIT\((.*?)\)", text)) == {".MILLI.,.METRE."}
    assert "'2000-01-01T00:00:00'" in text


def test_keep_outs_are_left_out_unless_asked_for(scene: Scene, tmp_path: Path) -> None:
    write(scene, [], tmp_path, ["step"], store=Store.default())
    text = (tmp_path / "assembly.step").read_text(encoding="ascii")
    real = {(s.shape.key, s.body.name) for s in scene.solids if s.body.keep_out is None}
    assert text.count("= MANIFOLD_SOLID_BREP(") == len(real)
    assert "reach" not in text


@pytest.mark.slow
def test_kept_and_damaged_and_redrawn_solids_give_the_same_file(scene: Scene, tmp_path: Path) -> None:
    write(scene, [], tmp_path / "redrawn", ["step"], store=Store.default())
    store = Store(tmp_path / "store")
    kept = solidify(scene.layout, store)
    assert all(s.shape.brep is not None for s in kept.solids)
    write(kept, [], tmp_path / "kept", ["step"], store=store)
    for path in {s.shape.brep for s in kept.solids if s.shape.brep}:
        path.write_bytes(path.read_bytes()[:-7] + b"garbage")
    write(kept, [], tmp_path / "damaged", ["step"], store=store)
    files = [(tmp_path / f / "assembly.step").read_bytes() for f in ("redrawn", "kept", "damaged")]
    assert files[0] == files[1] == files[2]


@pytest.mark.slow
def test_a_mesh_too_fine_for_exact_solids_is_left_out_with_a_note(
    scene: Scene, scenes: ModuleType, tmp_path: Path
) -> None:
    (tmp_path / "ball.stl").write_bytes(trimesh.creation.icosphere(6, 10.0).export(file_type="stl"))
    ball = ImportedPart(path=str(tmp_path / "ball.stl"), unit="mm")
    pieces = [scenes.piece("ball", ball, shift(), "parts"), *scene.layout.pieces[:1]]
    layout = type(scene.layout)("two", tuple(pieces), (), scene.layout.gaps)
    store = Store(tmp_path / "store")
    both = solidify(layout, store)
    result = write(both, [], tmp_path / "out", ["step", "glb", "stl"], store=store)
    assert [note.split(": ")[:2] for note in result.notes] == [
        ["assembly.step", "ball is left out, no exact solid of it is known"]
    ]
    assert (tmp_path / "out/assembly.step").read_text(encoding="ascii").count("= MANIFOLD_SOLID_BREP(") == 2
    alone = Scene(type(layout)("one", tuple(pieces[:1]), (), layout.gaps), both.solids[:1])
    result = write(alone, [], tmp_path / "alone", ["step"], store=store)
    assert result.paths == []
    assert result.notes[-1] == "assembly.step: not written, the build holds no exact solid"


def decoded(text: str) -> str:
    """The opposite of `encoded`, read from left to right by the rules of ISO 10303-21."""

    def read(match: re.Match[str]) -> str:
        width, digits = (4, match.group(1)) if match.group(1) else (8, match.group(2) or "")
        return "".join(chr(int(digits[i : i + width], 16)) for i in range(0, len(digits), width)) or match.group()[0]

    return re.sub(r"\\X2\\([0-9A-F]+)\\X0\\|\\X4\\([0-9A-F]+)\\X0\\|\\\\|''", read, text[1:-1])


def test_names_that_trip_readers_come_back_whole(scenes: ModuleType, tmp_path: Path) -> None:
    names = [
        "é", "潮", "🌊é", "a🌊b", "é\\", "\\é", "\\", "\\\\X2\\", "'", "x('a');", "é''),", "a' ,','", "#12 = FOO('a');",
        "@0@", "12", "end;\nENDSEC;", "*/ /*", "\x1f𐀀", "tab\there", "ü" * 80, "x" * 300,
    ]  # fmt: skip
    pieces = [scenes.piece(name, scenes.PlainBox(), shift(z=50 * i), "潮") for i, name in enumerate(names)]
    write(scenes.scene_of(pieces, "é"), [], tmp_path, ["step"], store=Store.default())
    [[title, [[assembly, product, occurrences]]]] = read_names(tmp_path / "assembly.step")
    assert (title, assembly, product) == ("é", "潮", "潮")
    assert [occurrence[0] for occurrence in occurrences] == names


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=40))
def test_any_text_is_written_as_ascii_and_can_be_read_back(text: str) -> None:
    written = encoded(text)
    assert written.isascii()
    assert written.isprintable()
    assert re.fullmatch(r"'(?:[^']|'')*'", written)
    assert decoded(written) == text


def test_styles_come_out_in_the_order_of_the_geometry_whatever_the_kernel_did() -> None:
    style = "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION"
    head = "HEADER;\nFILE_SCHEMA(('X'));\nENDSEC;\nDATA;\n#1 = SOLID();\n#2 = SOLID();\n"
    one = f"#3 = {style}('',(#4),#1);\n#4 = ITEM('a',#5,#1);\n#5 = RED();\n#6 = {style}('',(#7),#2);\n"
    one += "#7 = ITEM('a',\n    #5,\n#2);\n"
    other = f"#3 = {style}('',(#4),#2);\n#4 = ITEM('a',#7,#2);\n#5 = {style}('',(#6),#1);\n#6 = ITEM('a',#7,#1);\n"
    other += "#7 = RED();\n"
    files = [canonical(head + data + "ENDSEC;\nEND-ISO-10303-21;\n", "t", {}) for data in (one, other)]
    assert files[0].count(b"RED") == 1
    assert files[0] == files[1]
