"""Whether a part prints: its mesh, its foot on the bed, the bed itself, layers, overhangs, bridges, walls and holes.

Owns the questions asked of one part in its print pose, and the sentences that answer them. The rules and their sources
are in `rules`; what a print must carry over air is found by `spans`, thickness by `walls`, the bed by `bed`.
"""

from __future__ import annotations

import math

import numpy as np

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.geometry.meshes import fault_of, mesh_volume
from elbowroom.model.making import bed, rules
from elbowroom.model.making.mesh import Skin
from elbowroom.model.making.spans import Span, spans
from elbowroom.model.making.verdict import Grade, Verdict
from elbowroom.model.making.walls import thinnest
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import Pose
from elbowroom.parts.vocabulary.tolerances import PARALLEL_COS

LEAST_SURE_MM = 0.005  # no wall is told as surer than this: half the last digit that is told of it


def judge(part: Part, pose: Pose, skin: Skin, printer: PrinterSpec, bodies: frozenset[str]) -> list[Verdict]:
    """Every verdict on a part as it is printed: `part` with its holes as drawn, `bodies` those that are printed."""
    sound = _mesh(skin)
    if sound.verdict == "fail":
        return [sound]  # nothing else can be said of a surface that is none
    return [
        sound, *_foot(skin), _bed(skin, part, pose, printer), *_layers(skin, printer),
        *_air(skin, printer), *_walls(skin, printer), *_holes(part, bodies),
    ]  # fmt: skip


def _mesh(skin: Skin) -> Verdict:
    """Closed, oriented, outward, in one piece."""
    triangles = skin.triangles.astype(np.int32)
    fault = skin.fault or fault_of(skin.vertices, triangles)
    if fault is None and mesh_volume(skin.vertices, triangles) <= 0:
        fault = "its triangles face inward"
    if fault is not None:
        return Verdict("mesh", "fail", f"not a closed mesh: {fault}")
    return Verdict("mesh", "pass", f"a closed surface of {len(triangles)} triangles")


def _foot(skin: Skin) -> list[Verdict]:
    """What stands on the bed, and whether it holds the part."""
    corners = skin.vertices[skin.triangles]
    flat = (corners[:, :, 2].max(axis=1) <= rules.Z_MM) & (skin.normals[:, 2] < 0)
    area = float(skin.areas[flat].sum())
    out = []
    if abs(skin.lifted) > rules.Z_MM:
        out.append(Verdict("foot", "caution", f"its print pose left it {skin.lifted:g} mm off z = 0; set down",
                           skin.lifted))  # fmt: skip
    if area < rules.LEAST_FOOT:
        said = f"{area:.1f} mm² stand on the bed, {rules.LEAST_FOOT:g} hold: print it with a brim"
        return [*out, Verdict("foot", "caution", said, area, "mm2")]
    standing = corners[flat].reshape(-1, 3)[:, :2]
    least = float(np.ptp(standing, axis=0).min())
    if skin.size[2] > rules.SLENDER * least:
        said = f"{skin.size[2]:g} mm high on a foot {least:.1f} mm wide: print it with a brim, and slowly"
        return [*out, Verdict("foot", "caution", said, least)]
    return [*out, Verdict("foot", "pass", f"stands on the bed with {area:.0f} mm²", area, "mm2")]


def _bed(skin: Skin, part: Part, pose: Pose, printer: PrinterSpec) -> Verdict:
    """Whether it fits the bed, however turned, and where to split it if not."""
    size = " x ".join(f"{s:.1f}" for s in skin.size)
    room = " x ".join(f"{float(e):g}" for e in printer.bed)
    angle = bed.turn_to_fit(skin, printer)
    over = max(s - float(b) for s, b in zip(skin.size, printer.bed, strict=True))
    if angle is not None:
        turned = f" turned by {angle:g} degrees on the bed" if angle else ""
        slanted: Grade = "caution" if angle == bed.SLANT else "pass"
        return Verdict("bed", slanted, f"{size} mm fits the bed of {room}{turned}", over)
    planes = bed.splits(skin, part, pose, printer)
    told = [f"{axis} = {', '.join(f'{c:g}' for c in at)} of the STL" for axis, at in planes]
    return Verdict("bed", "fail", f"{size} mm does not fit the bed of {room}: split it at {' and '.join(told)}", over)


def _layers(skin: Skin, printer: PrinterSpec) -> list[Verdict]:
    """Heights that the layers do not meet; every height is rounded to whole layers when it is sliced."""
    layer = float(printer.layer)
    out = []
    for what, verb, heights in (("height", "is", [skin.size[2]]), ("steps at", "are", _levels(skin))):
        whole = [max(1, round(h / layer)) for h in heights]
        off = [(h, n * layer) for h, n in zip(heights, whole, strict=True) if abs(h / layer - n) > rules.LAYER_REL]
        if off:
            have, get = (", ".join(f"{pair[i]:g}" for pair in off) for i in (0, 1))
            said = f"{what} {have} mm {verb} no whole number of {layer:g} mm layers: printed {get}"
            out.append(Verdict("layers", "caution", said, off[0][0]))
    return out or [Verdict("layers", "pass", f"{round(skin.size[2] / layer)} layers of {layer:g} mm", skin.size[2])]


def _levels(skin: Skin) -> list[float]:
    """Heights of flat steps that something can rest on, lowest first: faces of 1 mm² or more that look straight up."""
    z = skin.vertices[skin.triangles][:, :, 2]
    flat = (np.ptp(z, axis=1) <= rules.Z_MM) & (skin.normals[:, 2] > PARALLEL_COS)
    found: dict[float, float] = {}
    for height, area in zip(z[flat].mean(axis=1).round(3).tolist(), skin.areas[flat].tolist(), strict=True):
        found[height] = found.get(height, 0.0) + area
    top = skin.size[2]
    return [h for h, a in sorted(found.items()) if a >= 1.0 and rules.Z_MM < h < top - rules.Z_MM]


def _air(skin: Skin, printer: PrinterSpec) -> list[Verdict]:
    """Overhangs that need support, and bridges."""
    out, longest, line = [], 0.0, float(printer.nozzle)
    for s in spans(skin):
        at = f"at {s.where[0]:.1f}, {s.where[1]:.1f}, {s.where[2]:.1f} of the STL"
        if s.span is None and s.reach > line:
            out.append(_overhang(s, at))
        elif s.span is not None:
            longest = max(longest, s.span)
            if s.span > rules.BRIDGE_NOTE:
                bad = s.span > rules.BRIDGE_FAIL
                limit = rules.BRIDGE_FAIL if bad else rules.BRIDGE_NOTE
                said = f"bridge of {s.span:.1f} mm {at}: over {limit:g}"
                out.append(Verdict("bridge", "fail" if bad else "caution", said, s.span, where=s.where))
            if not s.one_way:
                said = f"surface of {s.area:.0f} mm² {at} is bridged only in several directions: its edges droop"
                out.append(Verdict("bridge", "caution", said, s.span, where=s.where))
    if not any(v.question == "overhang" for v in out):
        out.append(Verdict("overhang", "pass", f"nothing needs support over {rules.OVERHANG_DEG:g} degrees"))
    if longest and not any(v.question == "bridge" for v in out):
        out.append(Verdict("bridge", "pass", f"bridges up to {longest:.1f} mm", longest))
    return out


def _overhang(s: Span, at: str) -> Verdict:
    if s.area == 0.0:
        return Verdict("overhang", "fail", f"a point {at} begins in the air", 0.0, "mm2", s.where)
    far = "held by nothing" if math.isinf(s.reach) else f"up to {s.reach:.1f} mm from what holds it"
    said = f"{s.open_area:.0f} mm² over {rules.OVERHANG_DEG:g} degrees {at}, {far}: needs support"
    return Verdict("overhang", "fail", said, s.open_area, "mm2", s.where)


def _walls(skin: Skin, printer: PrinterSpec) -> list[Verdict]:
    found = thinnest(skin)
    lines, layers = rules.LINES * float(printer.nozzle), rules.SKIN_LAYERS * float(printer.layer)
    least = max(rules.WALL, lines)
    sure = f"(± {max(2 * skin.bound, LEAST_SURE_MM):.3f}, {found.probes} probes)"
    out = []
    if math.isinf(found.wall):
        out.append(Verdict("wall", "pass", f"no two faces stand near each other as a wall {sure}"))
    else:
        verdict, why = _thin(found.wall + 2 * skin.bound, lines, least)
        said = f"thinnest wall {found.wall:.2f} mm, {least:g} wanted{why} {sure}"
        out.append(Verdict("wall", verdict, said, found.wall, where=found.wall_at))
    if math.isfinite(found.skin) and found.skin < layers - rules.Z_MM:
        count = found.skin / float(printer.layer)
        verdict, _ = _thin(found.skin, float(printer.layer), layers)
        said = f"thinnest flat skin {found.skin:.2f} mm is {count:.1f} layers, {rules.SKIN_LAYERS} wanted"
        out.append(Verdict("skin", verdict, said, found.skin, where=found.skin_at))
    return out


def _thin(have: float, fail: float, want: float) -> tuple[Grade, str]:
    """The verdict on a thickness, and why; a thickness exactly as wanted passes."""
    if have < fail - rules.Z_MM:
        return "fail", f", {fail:g} is the least that can be laid down"
    return ("caution", "") if have < want - rules.Z_MM else ("pass", "")


def _holes(part: Part, bodies: frozenset[str]) -> list[Verdict]:
    """The declared holes of the printed bodies."""
    widths = [h.diameter for p in part.patterns() if p.body in bodies for h in p.holes]
    if not widths:
        return []
    least = min(widths)
    if least < rules.LEAST_HOLE - rules.Z_MM:
        said = f"hole of {least:g} mm: under {rules.LEAST_HOLE:g} it closes; drill it after printing"
        return [Verdict("hole", "fail", said, least)]
    return [Verdict("hole", "pass", f"holes from {least:g} mm", least)]
