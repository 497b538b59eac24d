"""Laying stacks: layers on an opening, one on the other, from the panel inward or outward.

Owns how a layer finds its height and its way round, and puts it at its places along the row, which `rows` knows. The
result is pieces and the mates they stand by; whether holes and slots really meet is another question.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from elbowroom.model.build.entries import Entry, StackEntries
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import Path, choices
from elbowroom.model.build.source import Document
from elbowroom.model.build.spec import WALLS, Layering
from elbowroom.model.layout.identity import Entered
from elbowroom.model.layout.layout import Mate, Piece
from elbowroom.model.layout.rows import Row, follows, footprint, held_through, held_to, middle_of, own_row, row_of
from elbowroom.parts.vocabulary.base import Frame, Part
from elbowroom.parts.vocabulary.pose import Pose, bring_together, compose, inverse, turn

ROW_SLACK = 15.0  # mm: rows of four differ by this where their gaps are 15 and 20; longer ones lack a fan's holes (P)
SIDE_SLACK = 5.0  # mm: between two fan sizes, whose holes are at least 17 mm apart, and play of measuring (P)
_SAME = 1e-6  # mm or unit vector: two frames are on one axis or in one plane, from arithmetic alone


@dataclass(frozen=True, slots=True)
class Tier:
    """One layer of a side of a stack, the panel being the first: the pieces of its row, how thick it is, mm, and the
    bodies that lie against what is nearer the panel and what is farther from it."""

    names: tuple[str, ...]
    thickness: float
    near: tuple[str, ...]
    far: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Laid:
    """What a stack places: pieces with the path of their entry, the mates between them, and each side's layers."""

    pieces: list[tuple[Piece, Path]] = field(default_factory=list)
    mates: list[Mate] = field(default_factory=list)
    tiers: list[list[Tier]] = field(default_factory=list)


def layer_names(stack: StackEntries) -> list[str]:
    """The name of each layer's piece, before numbering, layers first and then the outside ones."""
    names: list[str] = []
    for entry in (*stack.layers, *stack.outside):
        words = entry.words
        assert isinstance(words, Layering)
        name = words.name or f"{stack.name} {entry.part.family}"
        if words.name is None and name in names:
            name += f" {chr(ord('a') + sum(n.startswith(name) for n in names))}"
        names.append(name)
    return names


def lay(stack: StackEntries, to: Piece, opening: Frame, document: Document) -> Laid:
    """Lay a stack on a frame of a placed piece; raises BuildError with every fault of the stack."""
    layer = _Layer(stack, to, document)
    names = layer_names(stack)
    n = len(stack.layers)
    layer.side(stack.layers, names[:n], opening, outside=False)
    if stack.outside:
        outer = f"{opening.name}-outside"
        frames = {f.name: f for f in to.part.frames()}
        if outer in frames:
            layer.side(stack.outside, names[n:], frames[outer], outside=True)
        else:
            layer.faults.add((*stack.path, "outside"), f'"{opening.name}" of {to.name} has no outside')
    layer.faults.stop()
    return layer.laid


class _Layer:
    def __init__(self, stack: StackEntries, to: Piece, document: Document) -> None:
        self.stack, self.to = stack, to
        self.faults = Faults(document)
        self.laid = Laid()

    def side(self, entries: Sequence[Entry], names: Sequence[str], opening: Frame, *, outside: bool) -> None:
        """Lay the layers of one side of the panel, each on the one before."""
        base = self.to.frame_pose(opening.name)
        row = row_of(self.to.part, opening)
        # Screws go through the panel as well: its other side counts where its rows run the same way.
        beyond = self.stack.layers if outside else self.stack.outside
        self._too_large(entries, opening)
        tiers = [Tier((self.to.name,), 0.0, opening.bodies, opening.bodies)]
        self.laid.tiers.append(tiers)
        height = 0.0
        below: list[tuple[str, Frame, Pose]] = [(self.to.name, opening, base)]
        for i, entry in enumerate(entries):
            near = self._near(entry, outside)
            if near is None:
                return
            clock = self._clock(entry, near, base)
            places, across = self._places(entries, i, row, clock, beyond)
            thickness, far = _through(entry.part, near)
            here: list[tuple[str, Frame, Pose]] = []
            for k, place in enumerate(places, 1):
                who = Entered(names[i], k if len(places) > 1 else None, self.stack.name)
                name = str(who)
                pose = bring_together(near.pose, base, clock=clock, offset=(place, across), lift=height)
                piece = Piece(
                    name, entry.part, pose, f"{self.stack.name} stack", entry.given, entry.sources, outside, who
                )
                self.laid.pieces.append((piece, entry.path))
                met = compose(pose, near.pose)
                for other, frame, where in below:
                    if _over(met, near, where, frame):
                        self.laid.mates.append(Mate(name, near.name, other, frame.name))
                if here:
                    self._neighbours(here[-1][0], piece)
                if far is not None:
                    here.append((name, far, compose(pose, far.pose)))
            names_here = tuple(p.name for p, _ in self.laid.pieces[-len(places) :])
            tiers.append(Tier(names_here, thickness, near.bodies, far.bodies if far is not None else ()))
            if far is None and i + 1 < len(entries):
                self.faults.add(
                    entries[i + 1].path, f"nothing can be laid on a {entry.part.family}: it has no far face"
                )
                return
            height += thickness
            below = here

    def _too_large(self, entries: Sequence[Entry], opening: Frame) -> None:
        """A radiator that is screwed to the opening, through nothing but loose layers and fans, must not outgrow it."""
        for entry in entries:
            own = own_row(entry)
            if own is not None and opening.size is not None:
                face = entry.part.frame(entry.part.seat or "")
                for have, room, way, slack in zip(
                    face.size or (0, 0), opening.size, ("long", "wide"), (ROW_SLACK, SIDE_SLACK), strict=True
                ):
                    if have > room + slack:
                        over = f"{have - room:g} mm too {way} for the {room:g} mm"
                        self.faults.add(entry.path, f'the radiator\'s row of fans is {over} of "{opening.name}"')
            elif not held_through(entry):
                return  # an adapter has holes of its own

    def _near(self, entry: Entry, outside: bool) -> Frame | None:
        """The face of a layer that looks at the panel."""
        words = entry.words
        assert isinstance(words, Layering)
        frames = {f.name: f for f in entry.part.frames()}
        if entry.part.moves_air and "intake" in frames:
            flow = words.flow or self.stack.spec.flow
            if flow is None:
                self.faults.add(entry.path, 'says no flow: write "flow: in" or "flow: out" on the stack or the fan')
                return None
            if words.flip:
                self.faults.add((*entry.path, "flip"), 'a fan is turned over with "flow", not with "flip"')
                return None
            # Air that enters comes through the panel: inside it the intake looks at the panel, outside the exhaust.
            return frames["intake" if (flow == "in") != outside else "exhaust"]
        if entry.part.seat is None:
            self.faults.add(entry.path, f"a {entry.part.family} has no face to lie on")
            return None
        near = frames[entry.part.seat]
        if words.flip:
            opposite = _through(entry.part, near)[1]
            if opposite is None:
                self.faults.add((*entry.path, "flip"), f"a {entry.part.family} has only one face to lie on")
                return None
            return opposite
        return near

    def _clock(self, entry: Entry, near: Frame, base: Pose) -> float:
        """The quarter turn that brings a fan's cable corner or a radiator's port end where the build says."""
        words = entry.words
        assert isinstance(words, Layering)
        fan = entry.part.moves_air
        if fan and words.cable_to is None and words.clock is None:
            corner = " ".join(_corner(base))
            self.faults.add(
                entry.path, f'says no cable corner: write "cable_to: {corner}" (two of the walls it lies between)'
            )
            return 0.0
        toward = [] if words.cable_to is None else list(words.cable_to)
        if words.ports_to is not None:
            toward.append(words.ports_to)
        if not toward:
            return float(words.clock or 0.0)
        key = "cable_to" if words.cable_to is not None else "ports_to"
        if words.clock is not None:
            self.faults.add((*entry.path, "clock"), f"the way round is given twice: by clock and by {key}")
            return 0.0
        wanted = np.zeros(3)
        for wall in toward:
            axis, far = WALLS[wall]
            wanted[axis] += 1.0 if far else -1.0
        normal = base[:3, 2]
        across = [w for w in toward if abs(normal[WALLS[w][0]]) > 0.5]
        if across or np.count_nonzero(wanted) != len(toward) or len(toward) != (2 if key == "cable_to" else 1):
            sides = _sides(normal)
            number = "two walls that meet" if key == "cable_to" else "one wall"
            said = " ".join(toward)
            self.faults.add(
                (*entry.path, key), f'"{said}" is no side of this stack: name {number}{choices(said, sides)}'
            )
            return 0.0
        own = _reference(entry.part)
        if own is None:
            self.faults.add(
                (*entry.path, key), f"a {entry.part.family} has no {'cable' if fan else 'port end'} to point"
            )
            return 0.0
        quarters = (0.0, 90.0, 180.0, 270.0)
        return max(
            quarters, key=lambda q: (round(float(turn(bring_together(near.pose, base, clock=q), own) @ wanted), 6), -q)
        )

    def _places(
        self, entries: Sequence[Entry], i: int, row: Row, clock: float, beyond: Sequence[Entry]
    ) -> tuple[list[float], float]:
        """Where along the row the copies of layer `i` go, and how far across it. beyond: layers past the panel."""
        words = entries[i].words
        assert isinstance(words, Layering)
        count = words.count or 1
        if not follows(entries[i]):
            pitch = footprint(entries[i].part, clock)
            spread = [(k - (count - 1) / 2) * pitch for k in range(count)]
            return [float(words.slide) + s for s in spread], float(words.aside)
        source = held_to(entries, i, beyond) or row
        count = words.count or len(source.places) or 1
        places = list(source.places)
        if count > len(places) or not places:
            if places and words.count is not None and entries[i].part.moves_air:
                self.faults.add((*entries[i].path, "count"), f"{count} fans on a row of {len(places)}")
            pitch = footprint(entries[i].part, 0.0)
            places = [(k - (count - 1) / 2) * pitch for k in range(count)]
        places = places[:count] if "slide" in words.model_fields_set else middle_of(places, count)
        return [p + float(words.slide) for p in places], float(words.aside) + source.across

    def _neighbours(self, name: str, piece: Piece) -> None:
        """Copies side by side may touch where two of their faces lie in one plane; that is no fault."""
        other = next(p for p, _ in self.laid.pieces if p.name == name)
        for a in other.part.frames():
            for b in piece.part.frames():
                if a.kind == b.kind == "face":
                    between = compose(inverse(other.frame_pose(a.name)), piece.frame_pose(b.name))
                    if between[2, 2] < -1 + _SAME and abs(between[2, 3]) < _SAME:
                        self.laid.mates.append(Mate(name, a.name, piece.name, b.name, contact=False))


def _sides(normal: np.ndarray) -> list[str]:
    """The walls a stack lies between, by the direction out of the face it is laid on."""
    return [w for w, (axis, _) in WALLS.items() if abs(normal[axis]) < 0.5]


def _corner(base: Pose) -> list[str]:
    """Two walls that a stack lies between and that meet: a corner its cables may leave at."""
    first, *rest = _sides(base[:3, 2])
    return [first, next(w for w in rest if WALLS[w][0] != WALLS[first][0])]


def _through(part: Part, near: Frame) -> tuple[float, Frame | None]:
    """Thickness from a face to the opposite one on the same axis, and that face; without one, to the end of the box."""
    inv = inverse(near.pose)
    for f in part.frames():
        between = compose(inv, f.pose)
        opposite = f.kind == "face" and between[2, 2] < -1 + _SAME
        if opposite and abs(between[0, 3]) < _SAME and abs(between[1, 3]) < _SAME and between[2, 3] < -_SAME:
            return -float(between[2, 3]), f
    corners = np.array([(*c, 1.0) for c in part.box().corners()])
    return -float((corners @ inv.T)[:, 2].min()), None


def _reference(part: Part) -> np.ndarray | None:
    """The direction, in part coordinates, that cable_to and ports_to point: to the cable corner, to the port end."""
    if part.moves_air:
        exits = [f for f in part.frames() if f.kind == "exit"]
        return np.array([*exits[0].pose[:2, 3], 0.0]) if exits else None
    ports = [f for f in part.frames() if f.kind == "port"]
    if not ports:
        return None
    middle = np.mean([f.pose[:3, 3] for f in ports], axis=0)
    lo, hi = np.array(part.box().lo), np.array(part.box().hi)
    ends = (middle - (lo + hi) / 2) / (hi - lo)
    ends[2] = 0.0
    return np.where(np.abs(ends) == np.abs(ends).max(), np.sign(ends), 0.0)


def _over(a: Pose, fa: Frame, b: Pose, fb: Frame) -> bool:
    """Whether the footprints of two facing frames overlap, so that one can lie on the other."""
    if fa.size is None or fb.size is None:
        return True
    between = compose(inverse(b), a)
    w = abs(between[:2, :2]) @ np.array(fa.size) + np.array(fb.size)
    return bool((np.abs(between[:2, 3]) < w / 2 - _SAME).all())
