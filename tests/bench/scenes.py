"""Layouts to measure on: a build file's, or a made-up one of catalogue parts packed as in a case.

The made-up layout stacks catalogue sizes of many families side by side with gaps from 0 to 12 mm and an overlap now
and then, so that most near pairs have to be looked at and a few of them failed. It is the same for the same count.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np

from elbowroom.model.layout.layout import Gaps, Layout, Piece
from elbowroom.model.store import Store
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.families import family_class
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import apply, compose, rotation, shift

DISTINCT = 26  # shapes in the made-up layout, as many as a well-filled build has
_FAMILIES = (
    "fan", "radiator", "gpu", "pump", "fitting", "psu", "memory", "cpu-block", "plate", "riser", "motherboard",
    "dust-filter", "gasket", "gpu-mount",
)  # fmt: skip


def load_layout(path: Path) -> Layout:
    """The layout of a build file, as placed: without the tubes of its loop."""
    from elbowroom.model import pipeline

    return pipeline.read(path, Store.default()).placed.layout


def made_up(count: int) -> Layout:
    """A layout of `count` pieces of up to `DISTINCT` shapes, the same for the same count."""
    chance = random.Random(20240501)
    shapes = list(islice(_parts(), DISTINCT))
    pieces: list[Piece] = []
    # Shelves: along x until a row is full, rows along y, levels along z.
    side = max(450.0, 150.0 * count ** (1 / 3))
    x = y = z = row = level = 0.0
    for n in range(count):
        part = shapes[n % len(shapes)]
        turn = rotation((0, 0, 1), chance.choice((0.0, 90.0, 180.0, 270.0)))
        corners = apply(turn, np.array(part.box().corners()))
        lo, size = corners.min(axis=0), np.ptp(corners, axis=0)
        if x + size[0] > side and x > 0:
            x, y, row = 0.0, y + row, 0.0
        if y + size[1] > side and y > 0:
            x, y, z, row, level = 0.0, 0.0, z + level, 0.0, 0.0
        pieces.append(Piece(f"{part.family} {n}", part, compose(shift(x - lo[0], y - lo[1], z - lo[2]), turn), ""))
        gap = chance.choice((-2.0, 0.0, 0.6, 2.0, 5.0, 12.0))
        x += float(size[0]) + gap
        row, level = max(row, float(size[1]) + abs(gap)), max(level, float(size[2]) + abs(gap))
    return Layout(f"made-up {count}", tuple(pieces), (), Gaps())


def _parts() -> Iterator[Part]:
    """Catalogue parts, one of each family in turn, then the next of each."""
    tables = [list(sizes(f).values()) for f in _FAMILIES]
    for k in range(max(len(t) for t in tables)):
        for table in tables:
            if k < len(table):
                yield family_class(table[k].family)(**table[k].fields)
