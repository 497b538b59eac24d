"""Small scenes with threaded ports, and plumbing for them: plates under walls, pits and slots with closed forms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

import numpy as np

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Gaps, Layout, Mate, Piece
from elbowroom.model.loop.plumbing import Chain, Line, Link, Plumbing, Tubing
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.store import Store
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.tube.tube_stock import tube_stocks
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Part
from elbowroom.parts.vocabulary.pose import Pose, pose, shift
from elbowroom.parts.water.plate import DistributionPlate

TOP = 20.0  # mm: front face of the plate, where its ports open
PETG = Tubing(tube_stocks()["petg-14"], 28.0, 0.0, 0.0)


class Brick(Part):
    """A user's box mesh from the origin to (x, y, z): exact, drawn without the kernel. open_top: not closed."""

    family: ClassVar[str] = "brick"
    is_mesh: ClassVar[bool] = True
    x: float = 10.0
    y: float = 10.0
    z: float = 10.0
    open_top: bool = False

    def box(self) -> Box:
        return Box((0.0, 0.0, 0.0), (self.x, self.y, self.z))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("body"),)

    def frames(self) -> tuple[Frame, ...]:
        return (Frame("bottom", "face", pose((self.x / 2, self.y / 2, 0), (0, 0, -1)), ("body",)),)

    def meshes(self) -> dict[str, tuple[Any, Any, str | None]]:
        v = np.array([[x, y, z] for x in (0, self.x) for y in (0, self.y) for z in (0, self.z)], dtype=np.float64)
        t = np.array(
            [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
             [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
        )  # fmt: skip
        return {"body": (v, t[:-2] if self.open_top else t, None)}

    def solids(self) -> Any:
        raise TypeError("a mesh has no solids")


def brick(lo: Sequence[float], hi: Sequence[float], **more: Any) -> tuple[Part, Pose]:
    """A brick between two corners of case coordinates."""
    x, y, z = (float(b - a) for a, b in zip(lo, hi, strict=True))
    return Brick(x=x, y=y, z=z, **more), shift(*lo)


def plate(*at: tuple[float, float], length: float = 240.0, width: float = 240.0, **port: Any) -> tuple[Part, Pose]:
    """A plate about the origin with ports a, b, c ... on its front at z = TOP, their x along x."""
    ports = [{"name": "abcdefghijkl"[i], "at": (x, y), **port} for i, (x, y) in enumerate(at)]
    part = DistributionPlate(length=length, width=width, thickness=TOP, inset=None, ports=ports)
    return part, shift(0, 0, 0)


def scene(store: Store, *placed: tuple[Part, Pose], mates: tuple[Mate, ...] = ()) -> Scene:
    """A scene of pieces plate, p2, p3 ... in the order given."""
    pieces = tuple(Piece("plate" if i == 1 else f"p{i}", part, at, "") for i, (part, at) in enumerate(placed, 1))
    return solidify(Layout("test", pieces, mates, Gaps()), store)


def rooms(store: Store, *placed: tuple[Part, Pose], mates: tuple[Mate, ...] = ()) -> Rooms:
    return Rooms(scene(store, *placed, mates=mates), store)


def site(r: Rooms, name: str = "a") -> Site:
    return next(s for s in r.sites if s.frame.name == name)


def link(size: str, *, angle: float | None = None, **fields: Any) -> Link:
    """A fitting of the catalogue, with some fields measured; a swivel without an angle may be turned."""
    given = dict(fields) if angle is None else {**fields, "angle": angle}
    fitting = Fitting(**{**sizes("fitting")[size].fields, **given})
    return Link(size, fitting, fitting.is_rotary and angle is None, frozenset(given))


def plumbing(chains: Mapping[str, Sequence[Link]], tubing: Tubing | None = PETG) -> Plumbing:
    """Chains on ports of the plate; those that hold a tube are joined two by two, in order, by runs."""
    by_port = {Port("plate", n): Chain(Port("plate", n), tuple(c), True, ()) for n, c in chains.items()}
    ends = [c for c in by_port.values() if tubing is not None and c.links[-1].fitting.holds_tube]
    if len(ends) % 2:
        ends.append(ends[0])
    lines = [
        Line(f"{a.port} -> {b.port}", a, b, tubing, ()) for a, b in zip(ends[::2], ends[1::2], strict=True) if tubing
    ]
    return Plumbing(tuple(lines), (), None, None, "floor", by_port)
