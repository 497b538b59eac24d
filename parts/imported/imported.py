"""A user's own shape: a STEP or STL file whose ports, holes and faces the build declares.

Owns turning a file into a part: STEP solids through the kernel, STL shells as meshes, both cached by the file's
content, and the six faces of its box as frames. The one family that must ask its file how large it is. Coordinates are
the file's own, in millimetres. Leaves the STL format and the soundness of meshes to `imported.mesh_file`.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections import OrderedDict
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import numpy as np
from pydantic import field_validator, model_validator

from elbowroom.parts.imported.mesh_file import MOST_BYTES, read_stl
from elbowroom.parts.imported.shells import check_mesh, split
from elbowroom.parts.imported.step_census import STRINGS
from elbowroom.parts.imported.step_file import StepContent, faceted, read_step
from elbowroom.parts.imported.unreadable import PartFileError
from elbowroom.parts.vocabulary.arrays import Triangles, Vertices
from elbowroom.parts.vocabulary.base import Body, Box, Frame, HolePattern, Material, Part, dim
from elbowroom.parts.vocabulary.declared import SpaceFace, SpaceHole, SpacePort, space_patterns
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import port_frame, refuse_repeated_names
from elbowroom.parts.vocabulary.pose import pose

if TYPE_CHECKING:
    from cadquery import Shape

_USER = "stated by the build"
_PRACTICE = "common practice, no source"
STEP_SUFFIXES = (".step", ".stp", ".p21")
STL_SUFFIXES = (".stl",)
# Facets above which a mesh is not made into a B-rep: one face each, it would fill a STEP file with megabytes a
# reader cannot use. Bound by choice.
MOST_FACETS = 20_000

# Lists within lists in a STEP record: grids of poles need 3, and no schema more than a handful. Bound by choice.
MOST_NESTED = 32

_BLOCK = 4_000_000  # bytes of a STEP file that are looked at at once: counting takes 20 times their memory

BodyMesh = tuple[Vertices, Triangles, str | None]


class ImportedPart(Part):
    """A user's STEP or STL file."""

    family: ClassVar[str] = "file"
    seat: ClassVar[str | None] = "bottom"
    path_field: ClassVar[str | None] = "path"

    path: str = dim(..., "Path of the STEP or STL file", source=_USER, mark="V", min_length=1, max_length=4096)
    unit: Literal["mm", "cm", "m", "in"] | None = dim(
        None, "Unit of an STL file, which carries none; a STEP file has its own", source=_USER, mark="V"
    )
    digest: str | None = dim(
        None, "SHA-256 of the file the other fields were measured on", source=_USER, mark="V",
        pattern=r"^[0-9a-f]{64}$",
    )  # fmt: skip
    material: Material = dim("plastic", "What it is made of", source=_PRACTICE, mark="P")
    ports: tuple[SpacePort, ...] = dim((), "Threaded ports of the shape", source=_USER, mark="V", max_length=64)
    holes: tuple[SpaceHole, ...] = dim((), "Holes of the shape", source=_USER, mark="V", max_length=600)
    faces: tuple[SpaceFace, ...] = dim(
        (), "Flat faces that others may be brought to", source=_USER, mark="V", max_length=64
    )

    @field_validator("path")
    @classmethod
    def _absolute(cls, path: str) -> str:
        """A process that reads it stands in another folder."""
        return os.path.abspath(path)

    @model_validator(mode="after")
    def _readable(self) -> ImportedPart:
        suffix = Path(self.path).suffix.lower()
        if suffix not in STEP_SUFFIXES + STL_SUFFIXES:
            known = ", ".join(STEP_SUFFIXES + STL_SUFFIXES)
            raise ValueError(f"{Path(self.path).name}: not a STEP or STL file by its name; known endings: {known}")
        if self.is_mesh and self.unit is None:
            raise ValueError("an STL file carries no unit; state unit: mm, cm, m or in")
        if not self.is_mesh and self.unit is not None:
            raise ValueError("a STEP file carries its own unit; leave unit out")
        refuse_repeated_names([*(f.name for f in self.faces), *(p.name for p in self.ports)])
        space_patterns(self.holes, "solid-1")
        found = self.file_digest()
        if self.digest not in (None, found):
            raise PartFileError(
                f"{Path(self.path).name} has changed: its SHA-256 is {found}, the build states {self.digest}"
            )
        # An STL is read at once, so that a bad one is a fault of the build file; of a STEP only the text is looked at.
        if self.is_mesh:
            self.meshes()
        else:
            _step_text(self.path, found)
        return self

    @property
    def is_mesh(self) -> bool:
        """Whether the file is an STL: triangles, which are their own truth, rather than exact surfaces."""
        return Path(self.path).suffix.lower() in STL_SUFFIXES

    def file_digest(self) -> str:
        """SHA-256 of the file's bytes (hex)."""
        return _digest(self.path)

    def shape_key(self) -> str:
        """Content address of the shape: the file's bytes, all fields but where the file lies, and the cuts."""
        fields = {k: v for k, v in self.dimensions().items() if k not in ("path", "digest")}
        own = [self.family, self.file_digest(), fields, *(c.key() for c in self.cuts)]
        text = json.dumps(own, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:32]

    def meshes(self) -> dict[str, BodyMesh]:
        """An STL's bodies as (vertices mm, triangles, fault): one for each outward shell with the voids inside it.

        A mesh with a fault is one body, and no verdict may rest on it. ValueError for a STEP file, which has solids.
        """
        if not self.is_mesh or self.unit is None:
            raise ValueError("a STEP file has solids, not meshes")
        scale = Mm.UNITS[self.unit]
        found: dict[str, BodyMesh] = _once(self._kept_under(), lambda: _stl_bodies(self.path, scale))
        return dict(found)

    def body_boxes(self) -> dict[str, Box]:
        """Each body's box, mm."""
        if not self.is_mesh:
            return {b.name: b.box for b in self._step().bodies}
        return {n: _box_of(v.min(axis=0), v.max(axis=0)) for n, (v, _, _) in self.meshes().items()}

    def body_faults(self) -> dict[str, str]:
        """The bodies that no verdict may rest on, each with the reason."""
        if self.is_mesh:
            return {n: fault for n, (_, _, fault) in self.meshes().items() if fault is not None}
        return {b.name: b.fault for b in self._step().bodies if b.fault is not None}

    def held(self) -> Any:
        """What was read of the file, for a process that draws the part and need not read it again; see `take`."""
        return self.meshes() if self.is_mesh else self._step()

    def take(self, held: Any) -> None:
        """Go by what another process has read of the file."""
        key = self._kept_under()
        _READ[key] = held

    def _kept_under(self) -> tuple[str, str, str | None]:
        return (self.path, self.file_digest(), self.unit)

    def _extents(self) -> tuple[tuple[str, ...], Box]:
        if self.is_mesh:
            meshes = self.meshes()
            points = np.concatenate([m[0] for m in meshes.values()])
            return tuple(meshes), _box_of(points.min(axis=0), points.max(axis=0))
        bodies = self._step().bodies
        lo, hi = np.min([b.box.lo for b in bodies], axis=0), np.max([b.box.hi for b in bodies], axis=0)
        return tuple(b.name for b in bodies), _box_of(lo, hi)

    def _step(self) -> StepContent:
        found: StepContent = _once(self._kept_under(), lambda: read_step(Path(self.path)))
        return found

    def box(self) -> Box:
        return self._extents()[1]

    def bodies(self) -> tuple[Body, ...]:
        return tuple(Body(n, self.material) for n in self._extents()[0])

    def frames(self) -> tuple[Frame, ...]:
        """Faces and ports the build declares, and the six sides of the box, named as those of a plain box.

        A declared face of one of these six names takes its place.
        """
        names, box = self._extents()
        (x0, y0, z0), (x1, y1, z1) = box.lo, box.hi
        x, y, z = (x0 + x1) / 2, (y0 + y1) / 2, (z0 + z1) / 2
        dx, dy, dz = box.size
        sides = (
            Frame("bottom", "face", pose((x, y, z0), (0, 0, -1), (1, 0, 0)), names, size=(dx, dy)),
            Frame("top", "face", pose((x, y, z1), (0, 0, 1), (1, 0, 0)), names, size=(dx, dy)),
            Frame("left", "face", pose((x, y1, z), (0, 1, 0), (-1, 0, 0)), names, size=(dx, dz)),
            Frame("right", "face", pose((x, y0, z), (0, -1, 0), (1, 0, 0)), names, size=(dx, dz)),
            Frame("front", "face", pose((x1, y, z), (1, 0, 0), (0, 1, 0)), names, size=(dy, dz)),
            Frame("back", "face", pose((x0, y, z), (-1, 0, 0), (0, -1, 0)), names, size=(dy, dz)),
        )
        declared = [
            Frame(f.name, "face", f.pose, names, size=None if f.size is None else (float(f.size[0]), float(f.size[1])))
            for f in self.faces
        ]
        ports = []
        for p in self.ports:
            at = p.pose
            ports.append(port_frame(p, at[:3, 3], at[:3, 2], at[:3, 0], names))
        taken = {f.name for f in (*declared, *ports)}
        return (*(s for s in sides if s.name not in taken), *declared, *ports)

    def patterns(self) -> tuple[HolePattern, ...]:
        return space_patterns(self.holes, self._extents()[0][0]) if self.holes else ()

    def solids(self) -> dict[str, Shape]:
        """The STEP's bodies (those with a fault as surfaces), or an STL's shells as faceted solids for STEP export.

        PartFileError above MOST_FACETS.
        """
        if not self.is_mesh:
            return self._step().shapes()
        self.refuse_solids()
        return {name: faceted(vertices, triangles) for name, (vertices, triangles, _) in self.meshes().items()}

    def refuse_solids(self) -> None:
        """PartFileError where no exact solids are made of this file, told without drawing: a mesh with a fault, or
        one of more than MOST_FACETS triangles.
        """
        for _, triangles, fault in self.meshes().values() if self.is_mesh else ():
            if fault is not None:
                raise PartFileError(f"{Path(self.path).name}: no solid can be made of this mesh: {fault}")
            if len(triangles) > MOST_FACETS:
                raise PartFileError(
                    f"{Path(self.path).name}: {len(triangles)} triangles are too many for a STEP file (at most "
                    f"{MOST_FACETS}); reduce the mesh or give the shape as STEP"
                )


def _digest(path: str) -> str:
    try:
        stat = Path(path).stat()
    except OSError as e:
        raise PartFileError(f"{path}: cannot be read: {e.strerror}") from None
    if not Path(path).is_file():
        raise PartFileError(f"{path}: not a file")
    if stat.st_size > MOST_BYTES:
        raise PartFileError(f"{Path(path).name}: larger than {MOST_BYTES // 1_000_000} MB")
    return _digest_of(path, stat.st_size, stat.st_mtime_ns)


@lru_cache(maxsize=256)
def _digest_of(path: str, _size: int, _mtime_ns: int) -> str:
    try:
        with Path(path).open("rb") as f:
            return hashlib.file_digest(f, "sha256").hexdigest()
    except OSError as e:
        raise PartFileError(f"{path}: cannot be read: {e.strerror}") from None


def _box_of(lo: Vertices, hi: Vertices) -> Box:
    return Box((float(lo[0]), float(lo[1]), float(lo[2])), (float(hi[0]), float(hi[1]), float(hi[2])))


# What was read of files lately, by path, content and unit. A fault is read for again: it ends the run anyway.
_READ: OrderedDict[tuple[str, str, str | None], Any] = OrderedDict()
_MOST_KEPT = 64


def _once(key: tuple[str, str, str | None], read: Callable[[], Any]) -> Any:
    if key not in _READ:
        _READ[key] = read()
        while len(_READ) > _MOST_KEPT:
            _READ.popitem(last=False)
    return _READ[key]


def _stl_bodies(path: str, scale: float) -> dict[str, BodyMesh]:
    vertices, triangles = read_stl(Path(path), scale)
    fault = check_mesh(vertices, triangles)
    parts = [(vertices, triangles)] if fault else split(vertices, triangles)
    for v, t in parts:
        v.setflags(write=False)
        t.setflags(write=False)
    return {f"solid-{i}": (v, t, fault) for i, (v, t) in enumerate(parts, 1)}


@lru_cache(maxsize=64)
def _step_text(path: str, _digest: str) -> None:
    """PartFileError where a file cannot be STEP, told from its text before the kernel is loaded.

    The kernel's reader takes all memory on deeply nested lists, so that nesting is bounded here.
    """
    name = Path(path).name
    data = Path(path).read_bytes()
    if not data:
        raise PartFileError(f"{name}: the file is empty")
    if not data[:1000].lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"ISO-10303-21", b"/*")):
        raise PartFileError(f"{name}: not a STEP file: it does not begin 'ISO-10303-21;'")
    if b"END-ISO-10303-21" not in data[-1000:]:
        raise PartFileError(f"{name}: cut short: no 'END-ISO-10303-21;' at its end")
    text, depth = STRINGS.sub(b"", data), 0
    for start in range(0, len(text), _BLOCK):
        marks = np.frombuffer(text, dtype=np.uint8, count=min(_BLOCK, len(text) - start), offset=start)
        marks = marks[np.isin(marks, np.frombuffer(b"();", dtype=np.uint8))]
        depths = depth + np.cumsum((marks == ord("(")).astype(np.int32) - (marks == ord(")")).astype(np.int32))
        if not len(depths):
            continue
        if int(depths.max()) > MOST_NESTED or int(depths.min()) < 0 or depths[marks == ord(";")].any():
            raise PartFileError(
                f"{name}: malformed STEP: brackets that do not close, or nested over {MOST_NESTED} deep"
            )
        depth = int(depths[-1])
