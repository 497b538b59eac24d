"""Hidden-line drawings of solids from their meshes: the edges one sees, and what is seen where.

Owns which edges of a mesh are drawn - where faces meet at an angle, and the outlines of round ones - and the buffer of
depths by which they are hidden. Exact to a pixel of that buffer, which is finer than the page's; no measurement is
taken from it.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.model.geometry.scene import Mesh, Solid
from elbowroom.model.pictures.camera import Camera, Fit
from elbowroom.model.pictures.sheet import PAPER, Box, Sheet
from elbowroom.model.writers.materials import KEEP_OUT, LOOKS
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask, Vector
from elbowroom.parts.vocabulary.pose import apply

FINER = 2  # px of the buffer in a px of the page
WITHIN_MM = 0.6  # mm by which an edge may lie behind the face it belongs to, by the buffer's own steps
SHARP_COS = 0.93  # cosine of 21 degrees between faces from which on their edge is drawn. By choice
SLIGHT_PX = 1.2  # px of the page: shorter stretches are not drawn
NEVER = -1e30  # mm: nothing is there
PALE = 0.62  # share of the paper's colour in a part's own, so that lines and words stand out. By choice


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A body where it is drawn: its points in the case, and moved by `move` mm (in an exploded view)."""

    solid: Solid
    move: Vector


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """What came of it: stretches (n, 5: ends on the page and whether they are a rim), and of every pixel of the page's
    box which body is seen there (-1: none)."""

    lines: Floats
    seen: Ints
    box: Box

    def spots(self) -> dict[int, tuple[float, float, int]]:
        """Of each body that is seen: the middle of where, on the body itself, on the page, and how many px of it."""
        ys, xs = np.nonzero(self.seen >= 0)
        owners = self.seen[ys, xs]
        order = np.argsort(owners, kind="stable")
        ys, xs, owners = ys[order], xs[order], owners[order]
        fresh = np.flatnonzero(np.r_[True, owners[1:] != owners[:-1]]) if len(owners) else np.zeros(0, dtype=int)
        out = {}
        for i, j in zip(fresh, [*fresh[1:], len(owners)], strict=True):
            x, y = xs[i:j], ys[i:j]
            k = int(np.argmin((x - np.median(x)) ** 2 + (y - np.median(y)) ** 2))
            at = (self.box[0] + (x[k] + 0.5) / FINER, self.box[1] + (y[k] + 0.5) / FINER)
            out[int(owners[i])] = (float(at[0]), float(at[1]), (j - i) // FINER**2)
        return out


def draw(
    sheet: Sheet,
    placed: Sequence[Placed],
    camera: Camera,
    put: Fit,
    box: Box,
    tints: Mapping[int, str] | None = None,
) -> Drawn:
    """Draw bodies into a box of the page, in pale colours of their materials (`tints` by place, where others)."""
    from elbowroom.model.pictures.tracing import fill, follow

    wide, high = int((box[2] - box[0]) * FINER), int((box[3] - box[1]) * FINER)
    depth, seen, lit = np.full((high, wide), NEVER), np.full((high, wide), -1, dtype=np.int64), np.ones((high, wide))
    known: dict[int, tuple[Floats, Ints, Ints, Mask]] = {}
    edges, owners = [], []
    sun = np.array([0.35, 0.5, 0.79])  # from over the viewer's right shoulder
    for k, p in enumerate(placed):
        mesh = p.solid.mesh
        points = (apply(p.solid.pose, mesh.vertices) + p.move) @ camera.axes
        flat = put(points[:, :2])
        page = np.column_stack([(flat[:, 0] - box[0]) * FINER, (flat[:, 1] - box[1]) * FINER, points[:, 2]])
        corners = np.ascontiguousarray(page[mesh.triangles])
        if id(mesh) not in known:
            known[id(mesh)] = _edges(mesh)
        normals, pairs, sides, sharp = known[id(mesh)]
        turned = normals @ (p.solid.pose[:3, :3].T @ camera.axes)
        light = 0.80 + 0.24 * np.clip(turned @ sun, 0.0, 1.0)
        fill(corners, np.full(len(corners), k, dtype=np.int64), np.ascontiguousarray(light), depth, seen, lit)
        front = turned[:, 2] > 0
        outline = front[sides[:, 0]] != front[sides[:, 1]]
        kept = outline | (sharp & (front[sides[:, 0]] | front[sides[:, 1]]))
        edges.append(page[pairs[kept]])
        owners.append(np.full(int(kept.sum()), k, dtype=np.int64))
    all_edges = np.ascontiguousarray(np.concatenate(edges)) if edges else np.zeros((0, 2, 3))
    all_owners = np.concatenate(owners) if owners else np.zeros(0, dtype=np.int64)
    none = np.zeros((1, 5))
    found = np.zeros((follow(all_edges, all_owners, depth, seen, WITHIN_MM, none, False), 5))
    follow(all_edges, all_owners, depth, seen, WITHIN_MM, found, True)
    found[:, [0, 2]] = found[:, [0, 2]] / FINER + box[0]
    found[:, [1, 3]] = found[:, [1, 3]] / FINER + box[1]
    found = found[np.hypot(found[:, 2] - found[:, 0], found[:, 3] - found[:, 1]) >= SLIGHT_PX]
    found = _distinct(found)
    sheet.image(_tinted(placed, seen, lit, tints or {}), *box[:2], wide / FINER, high / FINER)
    for rim, width in ((0.0, 0.6), (1.0, 1.3)):
        rows = found[found[:, 4] == rim]
        sheet.lines(_chained(rows[:, :4]), "#2b3240", width)
    return Drawn(found, seen, box)


def _edges(mesh: Mesh) -> tuple[Floats, Ints, Ints, Mask]:
    """Of a mesh: unit normals of its triangles, its edges, the two triangles at each, and which are sharp."""
    v, t = mesh.vertices, mesh.triangles.astype(np.int64)
    c = v[t]
    n = np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0])
    length = np.linalg.norm(n, axis=1)
    n = n / np.where(length > 0, length, 1.0)[:, None]
    ends = np.sort(np.stack([t, np.roll(t, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    of = np.repeat(np.arange(len(t)), 3)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    ends, of = ends[order], of[order]
    fresh = np.flatnonzero(np.r_[True, (ends[1:] != ends[:-1]).any(axis=1)])
    last = np.r_[fresh[1:], len(ends)] - 1
    pairs, sides = ends[fresh], np.stack([of[fresh], of[last]], axis=1)
    sharp = np.einsum("ij,ij->i", n[sides[:, 0]], n[sides[:, 1]]) < SHARP_COS
    sharp |= fresh == last  # the rim of a mesh that is not closed
    if mesh.faces is not None and mesh.surfaces is not None:
        sharp &= (mesh.faces[sides[:, 0]] != mesh.faces[sides[:, 1]]) | (fresh == last)
    return n, pairs, sides, sharp


def _distinct(rows: Floats) -> Floats:
    """Stretches without those that lie on another: parts that touch share edges."""
    ends = np.round(rows[:, :4])
    swap = (ends[:, 0] > ends[:, 2]) | ((ends[:, 0] == ends[:, 2]) & (ends[:, 1] > ends[:, 3]))
    ends[swap] = ends[swap][:, [2, 3, 0, 1]]
    order = np.argsort(-rows[:, 4], kind="stable")
    _, first = np.unique(ends[order], axis=0, return_index=True)
    out: Floats = rows[np.sort(order[first])]
    return out


def _chained(rows: Floats) -> list[Floats]:
    """Stretches as long lines, those that follow one another made one: a smaller file and cleaner corners."""
    keys = np.round(rows * 4).astype(np.int64)
    starts: dict[tuple[int, int], list[int]] = {}
    for k, (x, y, _, _) in enumerate(keys):
        starts.setdefault((int(x), int(y)), []).append(k)
    used = np.zeros(len(rows), dtype=bool)
    out = []
    for k in range(len(rows)):
        if used[k]:
            continue
        used[k] = True
        line = [rows[k, :2], rows[k, 2:]]
        at = (int(keys[k, 2]), int(keys[k, 3]))
        while True:
            follows = next((j for j in starts.get(at, ()) if not used[j]), None)
            if follows is None:
                break
            used[follows] = True
            line.append(rows[follows, 2:])
            at = (int(keys[follows, 2]), int(keys[follows, 3]))
        out.append(np.array(line))
    return out


def _tinted(placed: Sequence[Placed], seen: Ints, lit: Floats, tints: Mapping[int, str]) -> bytes:
    """What is seen as a PNG of the page's own pixels."""
    from PIL import Image

    paper = _rgb(PAPER)
    colours = np.tile(paper, (len(placed) + 1, 1))
    for k, p in enumerate(placed):
        own = np.array((KEEP_OUT if p.solid.body.keep_out else LOOKS[p.solid.body.material]).colour) * 255
        colours[k] = _rgb(tints[k]) if k in tints else PALE * paper + (1 - PALE) * own
    shade = np.where(seen < 0, 1.0, lit)[..., None]
    # Steps of light instead of a run of it: faces of one part stay apart, and the file small.
    picture = np.clip(colours[seen] * (np.round(shade * 25) / 25), 0, 255).astype(np.uint8)
    seethrough = np.where(seen < 0, 0, 255).astype(np.uint8)[..., None]
    whole = Image.fromarray(np.concatenate([picture, seethrough], axis=2)).reduce(FINER)
    out = io.BytesIO()
    whole.quantize(128, method=Image.Quantize.FASTOCTREE).save(out, "PNG", optimize=True)
    return out.getvalue()


def _rgb(colour: str) -> Floats:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], dtype=float)
