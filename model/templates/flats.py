"""The flat sheets a body is made of: the flanges of a bracket, the panels of a bent part, a plate.

Owns finding them in the exact solid - two flat faces that look away from each other with nothing but material between -
and calling them by the part's own frames. What is cut from one is `notch`'s work.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from elbowroom.model.templates.outline import FLATTEN_MM, LOOKS_RAD, SAME_PLANE_MM, depth_of, planes_of, wires_of
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.contour import flattened
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, inverse, pose, shift

# What counts as a sheet, both common practice without a source (P).
THICKEST = 15.0  # mm: more is a block, which nobody notches with a saw or a knife
SLENDER = 3.0  # times its thickness a sheet is wide at least
NARROWEST = 8.0  # mm a sheet is wide at least: less is a rim or the floor of a pocket
LEAST_MM2 = 1.0  # mm2: slivers where outlines nearly meet
Found = tuple[Pose, float, Any]  # pose, thickness and outline (shapely) of a sheet
CUTTABLE = frozenset({"steel", "aluminium", "copper", "brass", "nickel", "acrylic", "plastic", "printed"})


@dataclass(frozen=True, slots=True, eq=False)
class FlatSheet:
    """One flat sheet of a body: it fills `outline` (shapely, in the pose's x and y) from z = 0 to `thickness` of its
    pose, in part coordinates. name: unique in the part. also: frames in its faces, by which it is called as well.
    """

    name: str
    body: str
    pose: Pose
    thickness: float
    outline: Any
    also: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Its size, by which one knows it again."""
        import shapely

        x0, y0, x1, y1 = shapely.bounds(self.outline)
        return f"{x1 - x0:.0f} x {y1 - y0:.0f} mm, {self.thickness:g} thick"


def flat_sheets(part: Part, solids: Mapping[str, Any]) -> list[FlatSheet]:
    """The flat sheets of a part that can be cut, the largest of each body first. solids: exact, by body name."""
    wanted = _cuttable(part)
    return named_sheets(part, {b: sheets_in(getattr(s, "wrapped", s)) for b, s in solids.items() if b in wanted})


def named_sheets(part: Part, found: Mapping[str, Sequence[Found]]) -> list[FlatSheet]:
    """The same of what `sheets_in` found in each body."""
    out: list[FlatSheet] = []
    for body in _cuttable(part):
        out += _named(part, body, sorted(found.get(body, ()), key=lambda f: -float(f[2].area)))
    return _unique(out)


def _cuttable(part: Part) -> list[str]:
    return [b.name for b in part.bodies() if b.keep_out is None and b.material in CUTTABLE]


def sheets_in(shape: Any) -> list[Found]:
    """Pose, thickness and outline of each flat sheet of an exact solid (OCCT shape)."""
    found: list[Found] = []
    for normal in _normals(shape):
        view = pose((0.0, 0.0, 0.0), (float(normal[0]), float(normal[1]), float(normal[2])))
        tops = {h: _polygons(faces, view) for h, faces in planes_of(shape, view).items()}
        # The same view, its z turned round: what looks away from it.
        back = pose((0.0, 0.0, 0.0), (-float(normal[0]), -float(normal[1]), -float(normal[2])))
        bottoms = {-h: _polygons(faces, view) for h, faces in planes_of(shape, back).items()}
        pairs = sorted((t - b, t, b) for t in tops for b in bottoms if SAME_PLANE_MM < t - b <= THICKEST)
        for thick, top, bottom in pairs:
            both = tops[top].intersection(bottoms[bottom])
            for piece in getattr(both, "geoms", [both]):
                if piece.geom_type != "Polygon" or piece.area < LEAST_MM2 or not _slender(piece, thick):
                    continue
                inner = piece.representative_point().coords[0]
                through = depth_of(shape, apply(view, (*inner, top)), view[:3, 2])
                if through is not None and abs(through - thick) <= SAME_PLANE_MM:
                    found.append((compose(view, shift(0.0, 0.0, bottom)), round(thick, 6), piece))
    return found


def _slender(outline: Any, thick: float) -> bool:
    """Whether a disc of the least width of a sheet fits in the outline, its holes filled."""
    import shapely

    whole = shapely.Polygon(outline.exterior)
    return not whole.buffer(-max(SLENDER * thick, NARROWEST) / 2 + FLATTEN_MM).is_empty


def _normals(shape: Any) -> list[np.ndarray]:
    """A direction for each pair of opposite ones that flat faces look along."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_SurfaceType
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    out: list[np.ndarray] = []
    explorer = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_FACE)
    while explorer.More():
        surface = BRepAdaptor_Surface(TopoDS.Face_s(explorer.Current()))
        explorer.Next()
        if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane:
            d = surface.Plane().Axis().Direction()
            n = np.array([d.X(), d.Y(), d.Z()])
            if all(min(np.linalg.norm(n - m), np.linalg.norm(n + m)) > LOOKS_RAD for m in out):
                out.append(n)
    return out


def _polygons(faces: list[tuple[Any, float]], view: Pose) -> Any:
    """Faces of one plane as one shapely shape in the view's x and y."""
    import shapely

    out = []
    for face, _ in faces:
        outer, inner = wires_of(face, view)
        rings = [flattened(c, FLATTEN_MM) for c in inner]
        out.append(shapely.make_valid(shapely.Polygon(flattened(outer, FLATTEN_MM), rings)))
    return shapely.union_all(out)


def _named(part: Part, body: str, found: Sequence[Found]) -> list[FlatSheet]:
    """The sheets of a body, called like it where there is one, else by the frames that lie in their faces."""
    if len(found) == 1:
        return [FlatSheet(body, body, *found[0], tuple(_frames_in(part, body, *found[0])))]
    taken: set[str] = set()
    out = []
    for k, (at, thick, outline) in enumerate(found, 1):
        frames = _frames_in(part, body, at, thick, outline)
        name = next((n for n in frames if n not in taken), f"{body}-{k}")
        taken.add(name)
        out.append(FlatSheet(name, body, at, thick, outline, tuple(frames)))
    return out


def _frames_in(part: Part, body: str, at: Pose, thick: float, outline: Any) -> list[str]:
    """Frames of a body whose plane and middle lie in one of a sheet's two faces."""
    import shapely

    back, out = inverse(at), []
    for f in part.frames():
        if f.kind not in ("face", "wall", "opening") or body not in f.bodies:
            continue
        x, y, z = (float(v) for v in apply(back, f.pose[:3, 3]))
        square = abs(abs(float(f.pose[:3, 2] @ at[:3, 2])) - 1.0) <= LOOKS_RAD
        level = min(abs(z), abs(z - thick)) <= 10 * SAME_PLANE_MM
        if square and level and shapely.Polygon(outline.exterior).distance(shapely.Point(x, y)) <= thick:
            out.append(f.name)
    return out


def _unique(sheets: list[FlatSheet]) -> list[FlatSheet]:
    """No name twice in a part: those of several bodies get the body's name before them."""
    count = Counter(s.name for s in sheets)
    return [s if count[s.name] == 1 else replace(s, name=f"{s.body}-{s.name}") for s in sheets]
