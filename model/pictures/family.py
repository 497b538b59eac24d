"""A part of the catalogue drawn by itself, from several sides, with every name it offers where it stands.

Owns that sheet: which sides are shown, the numbers on places, ports and holes, and the list of what they mean.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Gaps, Layout, Piece
from elbowroom.model.pictures.balloons import balloon, has_room
from elbowroom.model.pictures.camera import Camera, camera, fit
from elbowroom.model.pictures.cut import corners
from elbowroom.model.pictures.dimension import span
from elbowroom.model.pictures.hidden import Placed, draw
from elbowroom.model.pictures.sheet import HEIGHT, INK, MARGIN, SMALL, SOFT, WIDTH, Box, Picture, Sheet, fitted, slug
from elbowroom.model.store import Store
from elbowroom.model.told.offered import HOLES, PORT, offered
from elbowroom.parts.catalogue import family_of, sample, sizes
from elbowroom.parts.families import FAMILIES
from elbowroom.parts.vocabulary.arrays import Floats, Vector
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import IDENTITY

LIST = 330.0  # px at the right, for the names
LINE_PX = 21.0
RIGHT = 122.0  # px at the right of a view, for its height
TURNED = 0.6  # cosine from which on a place counts as turned to the viewer
AXES = {"open": "-y", "tray": "+y", "front": "+x", "rear": "-x", "roof": "+z", "floor": "-z"}


def picture(word: str, store: Store) -> Picture | None:
    """The sheet of a family, by its first size, or of one size; None where there is none to draw."""
    family = word if word in FAMILIES else family_of(word)
    found = None if family is None else sample(family, None if word in FAMILIES else word)
    if family is None or found is None:
        return None
    name, part = found
    about = next((s.about for s in sizes(family).values() if s.name == name), "")
    return drawn(name, part, f"{family}: {about}" if about else family, store)


def drawn(name: str, part: Part, says: str, store: Store) -> Picture:
    """The sheet of one part."""
    layout = Layout(name, (Piece(name, part, IDENTITY, name),), (), Gaps())
    scene = solidify(layout, store)
    names = offered(part, rows=False)
    high = max(HEIGHT, 130 + LINE_PX * (len(names) + 2))
    sheet = Sheet(name, says, height=high)
    views = ["corner", *_sides(part)]
    x0, y0, x1, _ = sheet.room
    wide, tall = (x1 - LIST - x0) / 2, (min(high, 1.2 * HEIGHT) - y0 - MARGIN) / 2
    _list(sheet, part, x1 - LIST + 30, y0 + 14)  # first: dimensions and numbers then keep off it
    spots = _spots(part)
    told: set[int] = set()
    for k, view in enumerate(views):
        cell = (x0 + wide * (k % 2), y0 + tall * (k // 2), x0 + wide * (k % 2 + 1), y0 + tall * (k // 2 + 1))
        left = {n: s for n, s in spots.items() if n not in told}
        told |= _view(sheet, scene, view, cell, left, last=k == len(views) - 1, squarely=k > 0)
    return sheet.finished(f"part-{slug(name)}")


def _spots(part: Part) -> dict[int, tuple[Vector, Vector]]:
    """Where each name stands and which way it looks, by its number in the list."""
    frames, patterns = {f.name: f for f in part.frames()}, {p.name: p for p in part.patterns()}
    out = {}
    for n, o in enumerate(offered(part, rows=False), 1):
        if o.sort == HOLES:
            p = patterns[o.names[0]]
            h = p.holes[0]
            out[n] = ((p.pose @ np.array([h.x, h.y, 0.0, 1.0]))[:3], p.pose[:3, 2])
        else:
            pose = frames[o.names[0]].pose
            out[n] = (pose[:3, 3], pose[:3, 2])
    return out


def _sides(part: Part) -> list[str]:
    """The three sides to show beside the corner: those most names look at, as one usually looks where they tie."""
    ways = [z for _, z in _spots(part).values()]
    order = ("open", "roof", "front", "rear", "floor", "tray")
    counts = {v: sum(float(z @ camera(v).toward) > TURNED for z in ways) for v in order}
    best = sorted(order, key=lambda v: (-counts[v], order.index(v)))[:3]
    return sorted(best, key=order.index)


def _view(
    sheet: Sheet,
    scene: Scene,
    view: str,
    cell: Box,
    spots: Mapping[int, tuple[Vector, Vector]],
    *,
    last: bool,
    squarely: bool,
) -> set[int]:
    """One view in its cell with the numbers of what looks at the viewer; which numbers it told. last: all that are
    left are told here."""
    eye = camera(view)
    solids = [s for s in scene.solids if s.body.keep_out is None]
    lo, hi = np.min([s.lo for s in solids], axis=0), np.max([s.hi for s in solids], axis=0)
    flat = corners(lo, hi) @ eye.axes
    room = (cell[0] + 30, cell[1] + 48, cell[2] - RIGHT, cell[3] - 64)
    put = fit(flat.min(axis=0), flat.max(axis=0), room)
    box = (cell[0], cell[1], cell[2], cell[3])
    draw(sheet, [Placed(s, np.zeros(3)) for s in solids], eye, put, box)
    if squarely:
        a, b = flat.min(axis=0), flat.max(axis=0)
        span(sheet, put.at(a[0], a[1]), put.at(b[0], a[1]), f"{_mm(b[0] - a[0])} mm", 30)
        span(sheet, put.at(b[0], b[1]), put.at(b[0], a[1]), f"{_mm(b[1] - a[1])} mm", -24)
        sheet.text(cell[0] + 4, cell[1] + 16, f"seen from its {AXES[view]}", SMALL, SOFT)
    else:
        sheet.text(cell[0] + 4, cell[1] + 16, "from a corner", SMALL, SOFT)
        return set()
    return _numbers(sheet, eye, put(_flat([s[0] for s in spots.values()], eye)), spots, cell, last)


def _numbers(
    sheet: Sheet,
    eye: Camera,
    places: Floats,
    spots: Mapping[int, tuple[Vector, Vector]],
    cell: Box,
    last: bool,
) -> set[int]:
    told = set()
    for (n, (_, z)), at in zip(spots.items(), places, strict=True):
        if not last and float(z @ eye.toward) < TURNED:
            continue
        x, y = float(at[0]), float(at[1])
        ways = [
            (x + f * np.cos(a), y + f * np.sin(a)) for f in (26.0, 44.0, 66.0, 92.0) for a in np.arange(-0.8, 5.4, 0.52)
        ]
        spot = next((p for p in ways if has_room(sheet, p, cell)), None)
        if spot is not None:
            balloon(sheet, n, (x, y), spot, True)
            told.add(n)
    return told


def _flat(points: Sequence[Vector], eye: Camera) -> Floats:
    out: Floats = (np.array(points).reshape(-1, 3) @ eye.axes)[:, :2]
    return out


def _list(sheet: Sheet, part: Part, x: float, y: float) -> None:
    """What each number means: the name as a build file writes it, and what it is."""
    heads = {"place": "places, after on:", PORT: "ports, in the loop", HOLES: "holes, under screws:"}
    before = ""
    for n, o in enumerate(offered(part, rows=False), 1):
        if o.sort != before:
            y += 6 if before else 0
            sheet.text(x - 24, y, heads[o.sort], SMALL, SOFT)
            before, y = o.sort, y + LINE_PX
        sheet.text(x, y, str(n), SMALL, INK, "end")
        sheet.text(x + 10, y, fitted(f"{o.names[0]}: {o.words}", SMALL, WIDTH - MARGIN - x - 10), SMALL)
        y += LINE_PX


def _mm(value: float) -> str:
    return f"{round(float(value), 2) + 0.0:g}"
