"""Adapter plates: a flat plate that joins two hole patterns lying on each other.

Owns its declaration and drawing. Face `b` lies in z = 0, face `a` at z = thickness, the origin in the middle of face b.
Every place is stated in the plate's own x and y, as seen looking at face `a`, for the holes of both faces. Leaves which
holes a plate needs to whoever plans one, and inserts to `screw.captive`.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.fan.fan import HOLE_PITCH
from elbowroom.parts.made.adapter_holes import AdapterHole, AirOpening
from elbowroom.parts.screw import captive
from elbowroom.parts.vocabulary import webs
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, SetIn, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH, beyond_outline
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, pose, shift
from elbowroom.parts.vocabulary.printing import PRACTICE, PRINT_WALL, MadePart, refuse_small
from elbowroom.parts.vocabulary.threads import thread

if TYPE_CHECKING:
    from cadquery import Shape, Solid

Side = Literal["a", "b"]
FLOOR = 1.0  # mm, least floor under a pocket; an insert's that would leave less goes through; P


def _square(pitch: float, **hole: object) -> tuple[AdapterHole, ...]:
    """The four holes of one fan."""
    h = pitch / 2
    return tuple(AdapterHole.model_validate({"at": (x, y), **hole}) for x in (-h, h) for y in (-h, h))


class Adapter(MadePart):
    """A flat plate with one hole pattern for what lies on face `a` and one for what lies on face `b`."""

    family: ClassVar[str] = "adapter"
    holes_as_meant: ClassVar[bool] = True
    seat: ClassVar[str | None] = "b"

    material: Literal["printed", "plastic", "acrylic", "aluminium"] = dim(
        "printed", "What it is made of", source=PRACTICE, mark="P"
    )
    length: Mm = dim(Mm(140), "Length along x", source=PRACTICE, mark="P", ge=10, le=1200)
    width: Mm = dim(Mm(140), "Width along y", source=PRACTICE, mark="P", ge=10, le=400)
    thickness: Mm = dim(Mm(8), "Thickness", source=PRACTICE, mark="P", ge=1, le=40)
    corner: Mm = dim(Mm(5), "Radius of the outer corners", source=PRACTICE, mark="P", ge=0, le=100)
    holes_a: tuple[AdapterHole, ...] = dim(
        _square(HOLE_PITCH[120], thread="M3", insert=True), "Holes for what lies on face a; left out: a 120 mm fan's",
        source="fan hole pitches as drawn", mark="C", min_length=1, max_length=200,
    )  # fmt: skip
    holes_b: tuple[AdapterHole, ...] = dim(
        _square(HOLE_PITCH[140], thread="M3", insert=True), "Holes for what lies on face b; left out: a 140 mm fan's",
        source="fan hole pitches as drawn", mark="C", min_length=1, max_length=200,
    )  # fmt: skip
    openings: tuple[AirOpening, ...] = dim(
        (AirOpening(diameter=Mm(116)),), "Openings for the air; left out: a round one for a 120 mm fan",
        source=PRACTICE, mark="P", max_length=20,
    )  # fmt: skip

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if 2 * self.corner > min(self.length, self.width) + TOUCH:
            raise ValueError(f"corner {self.corner} is more than half of the outline")
        for name, h in self._named():
            refuse_small(name, h.bore)
            deep, what = max((h.depth or 0.0, "deep"), (h.recess_depth or 0.0, "of recess"))
            if h.insert and h.thread is not None:
                if self.material not in ("printed", "plastic"):
                    raise ValueError(f"{name}: an insert melts into plastic, not into {self.material}")
                deep, what = captive.insert_for(h.thread).length, "of insert"
                if deep > self.thickness + TOUCH:
                    raise ValueError(
                        f"{name}: {deep:g} mm {what} are {deep - self.thickness:g} more than the plate has"
                    )
            elif deep and deep + FLOOR > self.thickness + TOUCH:
                over = deep + FLOOR - self.thickness
                raise ValueError(
                    f"{name}: {deep:g} mm {what} and a floor of {FLOOR:g} are {over:g} more than the plate has"
                )
        self._walls()
        return self

    def _walls(self) -> None:
        """ValueError where too little wall stands between holes and openings, or to the outline."""
        half = (self.length / 2, self.width / 2)
        cut = [(name, webs.spots(h.widest()), h.wall) for name, h in self._named(shared=False)]
        round_ = [(f"opening {i}", o.spots(), PRINT_WALL) for i, o in enumerate(self.openings, 1)]
        for name, spots, wall in (*cut, *round_):
            over = max(beyond_outline(p, r + wall, half, float(self.corner)) for a, b, r in spots for p in (a, b))
            if over > TOUCH:
                raise ValueError(f"{name} is {over:.2f} mm too near the outline: {wall:g} mm of wall must stay")
        for (name, spots, wall), (other, others, wall2) in combinations(cut, 2):
            _refuse(name, other, webs.gap(spots[0], others[0]), max(wall, wall2))
        for i, opening in enumerate(self.openings):
            for name, spots, wall in cut:
                _refuse(name, f"opening {i + 1}", opening.gap(spots[0]), wall)
            for j, second in enumerate(self.openings[i + 1 :], i + 2):
                gap = min(opening.gap(s) for s in second.spots())
                _refuse(
                    f"opening {i + 1}", f"opening {j}", min(gap, *(second.gap(s) for s in opening.spots())), PRINT_WALL
                )

    def _named(self, shared: bool = True) -> list[tuple[str, AdapterHole]]:
        """All holes, named; a plain hole that both patterns list is one hole, told again where `shared`."""
        out = [(f"hole {i} of holes_a", h) for i, h in enumerate(self.holes_a, 1)]
        for i, h in enumerate(self.holes_b, 1):
            if shared or not (h.thread is None and h.recess is None and h in self.holes_a):
                out.append((f"hole {i} of holes_b", h))
        return out

    def _depth(self, h: AdapterHole) -> float | None:
        """Depth of a hole from its face, mm; None for one that goes through."""
        if h.insert and h.thread is not None:
            pocket = captive.insert_for(h.thread).pocket
            return pocket if pocket + FLOOR <= self.thickness + TOUCH else None
        return None if h.depth is None else float(h.depth)

    def box(self) -> Box:
        x, y = self.length / 2, self.width / 2
        return Box((-x, -y, 0.0), (x, y, float(self.thickness)))

    def bodies(self) -> tuple[Body, ...]:
        inserts = tuple(Body(f"insert-{side}-{i}", "brass") for side, i, _ in self._inserts())
        return (Body("plate", self.material), *inserts)

    def _inserts(self) -> list[tuple[Side, int, AdapterHole]]:
        sides: tuple[tuple[Side, tuple[AdapterHole, ...]], ...] = (("a", self.holes_a), ("b", self.holes_b))
        return [(side, i, h) for side, holes in sides for i, h in enumerate(holes, 1) if h.insert]

    def set_in(self) -> tuple[SetIn, ...]:
        return tuple(SetIn("insert", h.thread) for _, _, h in self._inserts() if h.thread is not None)

    def frames(self) -> tuple[Frame, ...]:
        size = (float(self.length), float(self.width))
        names = tuple(b.name for b in self.bodies())
        through = {f"insert-{side}-{i}" for side, i, h in self._inserts() if self._depth(h) is None}
        bodies = {
            s: tuple(n for n in names if n == "plate" or n.startswith(f"insert-{s}-") or n in through) for s in "ab"
        }
        return (
            Frame("a", "face", pose((0, 0, self.thickness), (0, 0, 1), (1, 0, 0)), bodies["a"], size=size),
            Frame("b", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), bodies["b"], size=size),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        """`a` and `b`. Beside other holes, inserts are a pattern of their own, `a-inserts` or `b-inserts`:
        what is bored in brass is not bored in the plate."""
        out = []
        for side, holes in (("a", self.holes_a), ("b", self.holes_b)):
            plain = [self._hole(h) for h in holes if not h.insert]
            set_in = [self._hole(h) for h in holes if h.insert]
            first = next((i for i, h in enumerate(holes, 1) if h.insert), 0)
            named = [(side, plain, "plate")] if plain else []
            if set_in:
                named.append((f"{side}-inserts" if plain else side, set_in, f"insert-{side}-{first}"))
            for name, made, body in named:
                own = tuple(made) if side == "a" else webs.turned_over(made)
                out.append(HolePattern(name, self.frame(side).pose, own, body))
        return tuple(out)

    def _hole(self, h: AdapterHole) -> Hole:
        """A hole as declared, in the plate's x and y."""
        x, y = float(h.at[0]), float(h.at[1])
        if h.insert and h.thread is not None:
            length = captive.insert_for(h.thread).length
            return Hole(x, y, thread(h.thread).bore, thread=h.thread, depth=self._depth(h), threaded=length)
        under = None if h.recess_depth is None else float(self.thickness - h.recess_depth)
        return Hole(x, y, self._wide(h.bore), float(h.slot), float(h.angle), h.thread, self._depth(h), under_head=under)

    def _lying(self) -> Pose:
        """Flat on face b, or on face a where more pockets and recesses open in b: those print best looking up."""

        def looking(own: tuple[AdapterHole, ...], other: tuple[AdapterHole, ...]) -> int:
            return sum(self._depth(h) is not None for h in own) + sum(h.recess is not None for h in other)

        if looking(self.holes_b, self.holes_a) <= looking(self.holes_a, self.holes_b):
            return IDENTITY
        return pose((0, 0, self.thickness), (0, 0, -1), (1, 0, 0))

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        t, inner, tools = float(self.thickness), [o.wire() for o in self.openings], []
        inserts: dict[str, Shape] = {}
        named = {name for name, _ in self._named(shared=False)}
        for name, h in self._named():
            if name not in named:
                continue
            top = name.endswith("_a")
            x, y, depth = float(h.at[0]), float(h.at[1]), self._depth(h)
            if depth is None:
                inner.append(draw.slot(x, y, self._wide(h.bore), h.slot, h.angle))
            else:
                tools.append(
                    draw.cylinder(self._wide(h.bore), depth, (x, y, t if top else 0.0), (0, 0, -1 if top else 1))
                )
            if h.recess is not None and h.recess_depth is not None:
                z, up = (0.0, 1) if top else (t, -1)
                tools.append(
                    draw.slab(draw.slot(x, y, self._wide(h.recess), h.slot, h.angle, z), (), up * h.recess_depth)
                )
        for side, i, h in self._inserts():
            made: Solid = captive.insert_body(
                h.thread or "", self._wide(h.bore), t if side == "a" else 0.0, side == "a"
            )
            inserts[f"insert-{side}-{i}"] = draw.baked(made, shift(float(h.at[0]), float(h.at[1])))
        x, y, _ = self.box().hi
        plate = draw.slab(draw.rectangle(-x, -y, x, y, float(self.corner)), inner, t)
        return {"plate": draw.cut(plate, *tools), **inserts}


def _refuse(name: str, other: str, gap: float, wall: float) -> None:
    if gap < -TOUCH:
        raise ValueError(f"{name} and {other} run into each other by {-gap:.2f} mm")
    if gap < wall - TOUCH:
        raise ValueError(f"{name} and {other} leave {gap:.2f} mm of wall: {wall - gap:.2f} mm short of {wall:g}")
