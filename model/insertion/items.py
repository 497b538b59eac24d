"""What goes into a case one after another: parts, the joints that hold them, and what is plugged or screwed into what.

Owns the nouns of building: which pieces are put in, which screws hold which of them, what is plugged into what and
along which line it leaves, which bodies of the case are off meanwhile, and what is left aside because it bends. Leaves
whether anything can move to `blocking`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.identity import Run, Screwed
from elbowroom.model.layout.layout import Piece
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.screws.joints import Joint
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.vocabulary.arrays import Ints, Vector

PLUGGED = frozenset({"slot", "socket", "port"})  # frames that what is in them leaves along their axis only


@dataclass(frozen=True, slots=True, eq=False)
class Plug:
    """A piece in a slot, socket or port of another. out: unit vector in case coordinates along which it leaves."""

    guest: str
    host: str
    frame: str
    out: Vector
    screwed: bool  # into a port: it is turned in, by fingers or a wrench


@dataclass(frozen=True, slots=True, eq=False)
class Fastening:
    """A joint with the screws that stand in it. screws: names of their pieces, by the joint's axis. holds: the pieces
    on its axes but the case. cased: whether one of its axes goes into or through the case."""

    joint: Joint
    chosen: tuple[Chosen, ...]
    screws: Mapping[int, tuple[str, ...]]
    holds: frozenset[str]
    cased: bool

    @property
    def name(self) -> str:
        return self.joint.name


class Items:
    """Everything of a scene that is put in. off: bodies (piece/body) of the case that are off while it is built."""

    def __init__(
        self, scene: Scene, chosen: Sequence[Chosen], off: Collection[str] = (), *, soft: bool = False
    ) -> None:
        """soft: tubes and cables that bend count as well."""
        self.scene = scene
        self.off = frozenset(off)
        self.pieces: dict[str, Piece] = {p.name: p for p in scene.layout.pieces}
        self.solids: dict[str, list[int]] = {}
        for k, s in enumerate(scene.solids):
            if s.body.keep_out is None and s.name not in self.off:
                self.solids.setdefault(s.piece.name, []).append(k)
        self.cases = frozenset(p.name for p in scene.layout.pieces if p.part.encloses)
        self.bending = frozenset(n for n, p in self.pieces.items() if p.part.led and not (soft or _stiff(p)))
        self.fastenings = tuple(_fastenings(scene, chosen, self.cases))
        screws = {n for f in self.fastenings for names in f.screws.values() for n in names}
        self.screws = frozenset(screws)
        self.parts: tuple[str, ...] = tuple(
            n for n in self.pieces
            if n in self.solids and n not in self.cases | self.bending | self.screws
            and not isinstance(self.pieces[n].identity, Screwed)
        )  # fmt: skip
        self.tubes = frozenset(n for n in self.parts if isinstance(self.pieces[n].identity, Run))

    @cached_property
    def plugs(self) -> dict[str, Plug]:
        """By the piece that is plugged in."""
        found: dict[str, Plug] = {}
        for m in self.scene.layout.mates:
            if m.piece not in self.parts or m.to_piece not in self.pieces or m.to_piece in self.cases:
                continue
            frame = self.pieces[m.to_piece].frame(m.to_frame)
            if frame.kind in PLUGGED and m.contact and m.piece not in found:
                out = self.pieces[m.to_piece].frame_pose(m.to_frame)[:3, 2]
                found[m.piece] = Plug(m.piece, m.to_piece, m.to_frame, out, frame.kind == "port")
        return found

    @cached_property
    def guests(self) -> dict[str, tuple[str, ...]]:
        """By piece, what is plugged into it."""
        out: dict[str, list[str]] = {}
        for p in self.plugs.values():
            out.setdefault(p.host, []).append(p.guest)
        return {n: tuple(g) for n, g in out.items()}

    @cached_property
    def held_by(self) -> dict[str, tuple[Fastening, ...]]:
        """By piece, the joints that hold it."""
        out: dict[str, list[Fastening]] = {}
        for f in self.fastenings:
            for n in f.holds:
                out.setdefault(n, []).append(f)
        return {n: tuple(f) for n, f in out.items()}

    @cached_property
    def ends(self) -> dict[str, frozenset[str]]:
        """By tube, the fittings at its ends, which are loose while it is put in."""
        out: dict[str, set[str]] = {}
        for m in self.scene.layout.mates:
            if m.piece in self.tubes:
                out.setdefault(m.piece, set()).add(m.to_piece)
        return {n: frozenset(v) for n, v in out.items()}

    def bulk(self, name: str) -> float:
        """The room of a piece's box, mm3: what is largest is what others are put to."""
        size = self.pieces[name].part.box().size
        return size[0] * size[1] * size[2]

    def rows(self, names: Collection[str]) -> Ints:
        """The solids of some pieces."""
        import numpy as np

        return np.array([k for n in names for k in self.solids.get(n, ())], dtype=np.int64)


def _stiff(piece: Piece) -> bool:
    return isinstance(piece.part, TubeRun) and piece.part.kind != "soft"


def _fastenings(scene: Scene, chosen: Sequence[Chosen], cases: Collection[str]) -> list[Fastening]:
    standing: dict[tuple[str, int], list[str]] = {}
    for p in scene.layout.pieces:
        if isinstance(p.identity, Screwed):
            standing.setdefault((p.identity.joint, p.identity.row), []).append(p.name)
    by_joint: dict[str, list[Chosen]] = {}
    for c in chosen:
        by_joint.setdefault(c.joint.name, []).append(c)
    out = []
    for name, those in by_joint.items():
        joint = those[0].joint
        screws = {i: tuple(standing[name, i]) for i in range(len(joint.axes)) if (name, i) in standing}
        on = {n for a in joint.axes for n in (a.piece.name, *(p.piece.name for p in a.passed))}
        if screws:
            out.append(Fastening(joint, tuple(those), screws, frozenset(on - set(cases)), bool(on & set(cases))))
    return out


def off_by_usage(scene: Scene) -> frozenset[str]:
    """The bodies that come off the case to work in it, where the build says nothing."""
    return frozenset(f"{p.name}/{b}" for p in scene.layout.pieces if p.part.encloses for b in p.part.comes_off)
