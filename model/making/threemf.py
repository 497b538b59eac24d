"""3MF: one file for each bed of parts, with one mesh for each shape and an item for each copy.

Owns the model handed to the format's own library, and packing its parts again: the library streams its archive, which
some readers take for empty, where plainly packed entries are read by all. Identities come from the content,
so that the same bed gives the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import os
import uuid
import zipfile
from collections.abc import Sequence
from typing import Any

import numpy as np

from elbowroom.model.making.bed import Item
from elbowroom.model.making.mesh import Skin

APPLICATION = "elbowroom"
MODEL = "3D/3dmodel.model"
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the first date an archive can hold: the same bed gives the same bytes
_SPACE = uuid.UUID("5f0d3c1e-7a34-5f86-9d35-7f3a6f1b2c44")  # ours, for identities made from content


def bed_file(title: str, parts: Sequence[tuple[str, Skin]], items: Sequence[Item]) -> bytes:
    """The 3MF file of one bed, mm: `items` name their part by index in `parts` (name and skin)."""
    import lib3mf

    wrapper = lib3mf.Wrapper(os.path.join(os.path.dirname(lib3mf.__file__), "lib3mf"))
    model = wrapper.CreateModel()
    model.SetUnit(lib3mf.ModelUnit.MilliMeter)
    about = model.GetMetaDataGroup()
    for key, value in (("Title", title), ("Application", APPLICATION)):
        about.AddMetaData("", key, value, "xs:string", True)
    digest = hashlib.sha256(title.encode("utf-8", "replace"))
    objects: dict[int, Any] = {}
    for n, item in enumerate(items):
        name, skin = parts[item.index]
        if item.index not in objects:
            found = model.AddMeshObject()
            found.SetName(name)
            found.SetGeometry(*_geometry(lib3mf, skin))
            content = skin.vertices.tobytes() + skin.triangles.tobytes()
            digest.update(content)
            found.SetUUID(str(uuid.uuid5(_SPACE, f"{name} {hashlib.sha256(content).hexdigest()}")))
            objects[item.index] = found
        placed = model.AddBuildItem(objects[item.index], _transform(lib3mf, item))
        placed.SetUUID(str(uuid.uuid5(_SPACE, f"item {n} {name} {item.pose.tobytes().hex()}")))
        digest.update(item.pose.tobytes())
    model.SetBuildUUID(str(uuid.uuid5(_SPACE, digest.hexdigest())))
    return _packed(bytes(model.QueryWriter("3mf").WriteToBuffer()))


def _geometry(lib3mf: Any, skin: Skin) -> tuple[Any, Any]:
    """The skin in lib3mf's arrays, filled by copying whole blocks: number by number would take seconds."""
    points = np.ascontiguousarray(skin.vertices, dtype=np.float32)
    corners = np.ascontiguousarray(skin.triangles, dtype=np.uint32)
    vertices = (lib3mf.Position * len(points)).from_buffer_copy(points.tobytes())
    triangles = (lib3mf.Triangle * len(corners)).from_buffer_copy(corners.tobytes())
    return vertices, triangles


def _transform(lib3mf: Any, item: Item) -> Any:
    """A pose as 3MF has it: three rows of the turned axes, and one of the move."""
    out = lib3mf.Transform()
    for row in range(4):
        for column in range(3):
            out.Fields[row][column] = float(item.pose[column, row])
    return out


def _packed(written: bytes) -> bytes:
    """The same entries in a plain archive with a fixed date."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(written)) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for name in sorted(source.namelist(), key=lambda n: (n != "[Content_Types].xml", n)):
            entry = zipfile.ZipInfo(name, _EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            target.writestr(entry, source.read(name))
    return out.getvalue()
