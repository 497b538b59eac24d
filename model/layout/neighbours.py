"""What is made to stand side by side: bodies between which no gap is wanted, though no face of one is put on the other.

Owns those rules of which bodies may be nearer than the wanted gap; only overlap counts between them.

- The members of one row are screwed where its holes are: fans over one radiator or one opening, pads and all, and fans
  of openings beside each other; so are the layers next to theirs, where a member stands over its neighbour's edge.
- A layer thinner than the wanted gap (a gasket, a washer) keeps what lies on its two sides as far apart as it can.
- Parts in neighbouring places that a part numbers: memory in its sockets, fans on an opening one by one.
- Cards in neighbouring slots: their brackets, which the standard sets a pitch apart, and all else of two cards that
  both keep inside the room the standard gives a card.
- A power supply and what the case's seat for it stands it on or against.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np

from elbowroom.model.layout.layout import Gaps, Joined, Mate, Piece
from elbowroom.model.layout.stacks import Tier
from elbowroom.model.tolerances import MATE_PLANE_MM
from elbowroom.parts.card.gpu import Gpu
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.base import Frame

_ROW = "side by side in one row"
_SLOTS = "in neighbouring slots"
_NUMBERED = frozenset({"opening", "socket"})  # kinds of frame whose numbers are places beside each other
_PARALLEL = 1 - 1e-9  # cosine of two directions that are one, from arithmetic alone


def neighbours(
    pieces: Sequence[Piece], mates: Sequence[Mate], tiers: Sequence[Sequence[Tier]], gaps: Gaps
) -> list[Joined]:
    """Bodies of neighbours, each pair once; `tiers`: the layers of each side of each stack, from its panel."""
    by_name = {p.name: p for p in pieces}
    found = _Found()
    met = {frozenset((m.piece, m.to_piece)) for m in mates}
    for side in tiers:
        _stack(side, by_name, met, gaps, found)
    _fans([by_name[n] for side in tiers for t in side for n in t.names], gaps, found)
    _numbered(by_name, mates, found)
    _seated(by_name, mates, gaps, found)
    return list(found.pairs.values())


class _Found:
    def __init__(self) -> None:
        self.pairs: dict[tuple[str, str], Joined] = {}

    def add(self, first: Iterable[str], second: Iterable[str], why: str) -> None:
        others = list(second)
        for a in first:
            for b in others:
                self.pairs.setdefault((min(a, b), max(a, b)), Joined(a, b, why))


def _bodies(piece: Piece, only: Iterable[str] | None = None) -> list[str]:
    solid = [b.name for b in piece.part.bodies() if b.keep_out is None]
    return [f"{piece.name}/{b}" for b in (solid if only is None else only)]


def _stack(
    side: Sequence[Tier], by_name: dict[str, Piece], met: set[frozenset[str]], gaps: Gaps, found: _Found
) -> None:
    for k, tier in enumerate(side):
        for a, b in combinations(tier.names, 2):
            found.add(_bodies(by_name[a]), _bodies(by_name[b]), _ROW)
        if 0 < k < len(side) - 1:  # the first is the panel itself, and no row
            for a in tier.names:
                for b in side[k + 1].names:
                    if frozenset((a, b)) not in met:
                        found.add(_bodies(by_name[a]), _bodies(by_name[b]), _ROW)
        apart = 0.0
        for between, far in zip(side[k + 1 :], side[k + 2 :], strict=False):
            apart += between.thickness
            for a in tier.names:
                for b in far.names:
                    if apart < gaps.wanted(by_name[a], by_name[b]) - MATE_PLANE_MM:
                        why = f"either side of the {by_name[between.names[0]].part.family}"
                        found.add(_bodies(by_name[a], tier.far), _bodies(by_name[b], far.near), why)


def _fans(laid: Sequence[Piece], gaps: Gaps, found: _Found) -> None:
    """Fans of different stacks whose frames stand edge to edge."""
    fans = [p for p in laid if p.part.moves_air]
    for a, b in combinations(fans, 2):
        if abs(float(a.pose[:3, 2] @ b.pose[:3, 2])) < _PARALLEL or not _beside(a, b, gaps.wanted(a, b)):
            continue
        found.add(_bodies(a), _bodies(b), _ROW)


def _beside(a: Piece, b: Piece, gap: float) -> bool:
    """Whether a side of one fan looks at a side of the other from less than the gap, its frame not entering it."""
    for one in (f for f in a.part.frames() if f.name.startswith("side-")):
        for other in (f for f in b.part.frames() if f.name.startswith("side-")):
            at, to = a.frame_pose(one.name), b.frame_pose(other.name)
            if float(at[:3, 2] @ to[:3, 2]) > -_PARALLEL:
                continue
            way = to[:3, 3] - at[:3, 3]
            away = float(way @ at[:3, 2])
            if not -MATE_PLANE_MM <= away < gap:
                continue
            # Each side's size is along its own axes, which are square to each other's.
            half = (
                abs(at[:3, :2]) @ np.array(one.size or (0, 0)) / 2
                + abs(to[:3, :2]) @ np.array(other.size or (0, 0)) / 2
            )
            across = [i for i in range(3) if abs(at[i, 2]) < 0.5]
            if all(abs(way[i]) < half[i] for i in across):
                return True
    return False


def _numbered(by_name: dict[str, Piece], mates: Sequence[Mate], found: _Found) -> None:
    places: dict[tuple[str, str], dict[int, Piece]] = {}
    for m in mates:
        base, _, number = m.to_frame.rpartition("-")
        if m.placed and base and number.isdigit():
            places.setdefault((m.to_piece, base), {})[int(number)] = by_name[m.piece]
    for (name, base), members in places.items():
        frames = {f.name: f for f in by_name[name].part.frames()}
        for n, piece in members.items():
            here = frames[f"{base}-{n}"]
            if isinstance(piece.part, Gpu) and here.kind == "slot":
                _cards(n, piece, piece.part, members, found)
            elif here.kind in _NUMBERED or piece.part.moves_air:
                if (other := members.get(n + 1)) is not None:
                    found.add(_bodies(piece), _bodies(other), _ROW)
                if here.kind == "socket":
                    _sockets(piece, name, [frames.get(f"{base}-{n + step}") for step in (-1, 1)], found)


def _sockets(piece: Piece, board: str, beside: Sequence[Frame | None], found: _Found) -> None:
    """A part in its socket stands beside the next socket, whatever is in that."""
    for frame in beside:
        if frame is not None:
            found.add(_bodies(piece), [f"{board}/{b}" for b in frame.bodies], "beside its neighbour's socket")


def _cards(number: int, piece: Piece, part: Gpu, members: dict[int, Piece], found: _Found) -> None:
    """A card and the next one beyond the slots its own bracket covers."""
    after = members.get(number + part.slots)
    if after is None or not isinstance(after.part, Gpu):
        return
    # Toward the next slot its cooler, and of the next card the back, each within what the standard keeps for it.
    low = -(std.COMPONENT_SIDE + part.half + (part.slots - 1) * std.SLOT_PITCH)
    both = part.face >= low and after.part.back <= after.part.half + std.SOLDER_SIDE
    own = None if both else ("bracket",)
    found.add(_bodies(piece, own), _bodies(after, own), _SLOTS)


def _seated(by_name: dict[str, Piece], mates: Sequence[Mate], gaps: Gaps, found: _Found) -> None:
    """A supply at its seat may lie on the floor and against the tray that the seat measures it from."""
    for m in mates:
        piece, to = by_name[m.piece], by_name[m.to_piece]
        if not m.placed or m.to_frame != "psu" or not isinstance(to.part, Case) or to.part.psu is None:
            continue
        at, wanted = to.part.psu.at, gaps.wanted(piece, to)
        walls = {"floor": at.floor, "tray": at.tray if at.behind is None else at.behind}
        beside = [f"{to.name}/{wall}" for wall, away in walls.items() if away < wanted]
        found.add(_bodies(piece), beside, "at its seat")
