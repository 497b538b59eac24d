"""Chains of fittings as pieces: their names, poses and mates, and where a tube leaves them.

Owns what a chain comes to once its swivels have their turn. Which chains there are is `plumbing`'s; how swivels turn
is found by `routing`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from elbowroom.model.geometry.envelopes import Rod
from elbowroom.model.layout.identity import Fitted, Port
from elbowroom.model.layout.layout import Layout, Mate, Piece
from elbowroom.model.loop.plumbing import Chain, link_poses
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Mark
from elbowroom.parts.vocabulary.pose import Pose, apply, compose

ASIDE = 1e-6  # of a unit, or mm: less is no way aside
Turns = Mapping[Port, Sequence[float]]  # degrees of the free swivels of the chain on each port, in the chain's order


def fitting(chain: Chain, i: int) -> Fitted:
    """Who one fitting of a chain is."""
    return Fitted(chain.links[i].size, chain.port, i, len(chain.links))


def fittings(layout: Layout, chains: Iterable[Chain], turns: Turns) -> tuple[list[Piece], list[Mate]]:
    """Fittings of chains as pieces, each mated to what it is screwed into. A swivel without a turn keeps its own."""
    pieces, mates = [], []
    for chain in chains:
        angles = dict(zip(chain.free, turns.get(chain.port, ()), strict=False))
        before = (chain.port.piece, chain.port.frame)
        for i, (link, pose) in enumerate(link_poses(layout, chain, angles)):
            who, rests = fitting(chain, i), _sources(link.fitting, link.given)
            name = str(who)
            pieces.append(Piece(name, link.fitting, pose, "fittings", link.given, rests, identity=who))
            mates.append(Mate(name, "base", *before))
            following = link.fitting.next_frames()
            if following:
                before = (name, following[-1].name)
    return pieces, mates


def outlet(fitting: Fitting, pose: Pose) -> Floats | None:
    """Which way a fitting that stands so lets on, in case coordinates: along its next axis, or where that is its own
    axis moved aside, toward that side; None where neither tells its turn.
    """
    frames = [*fitting.next_frames(), *(f for f in fitting.frames() if f.name == "tube")]
    if not frames:
        return None
    at = frames[0].pose
    way = at[:3, 2] if float(np.hypot(*at[:2, 2])) > ASIDE else np.array([at[0, 3], at[1, 3], 0.0])
    length = float(np.linalg.norm(way))
    return None if length < ASIDE else np.asarray(pose[:3, :3] @ (way / length))


def pointing(layout: Layout, chain: Chain, turns: Sequence[float]) -> list[tuple[str, float, Floats | None]]:
    """Each free swivel of a chain: its fitting, its degrees, and the way it lets on (`outlet`)."""
    posed = link_poses(layout, chain, dict(zip(chain.free, turns, strict=True)))
    return [
        (posed[i][0].size, float(t), outlet(posed[i][0].fitting, posed[i][1]))
        for i, t in zip(chain.free, turns, strict=True)
    ]


def mouth(layout: Layout, chain: Chain, turns: Sequence[float]) -> tuple[Pose, list[Rod]]:
    """The frame a tube leaves a chain by (z outward) and the chain's own bars, in case coordinates.

    The chain must end in a fitting that holds a tube.
    """
    rods, last = [], None
    for link, pose in link_poses(layout, chain, dict(zip(chain.free, turns, strict=True))):
        for a, b, r in link.fitting.cylinders():
            p, q = apply(pose, np.array([a, b], dtype=float))
            rods.append(Rod((p[0], p[1], p[2]), (q[0], q[1], q[2]), float(r)))
        last = (link, pose)
    if last is None:
        raise ValueError(f"there is no fitting at {chain.port}")
    return compose(last[1], last[0].fitting.frame("tube").pose), rods


def _sources(fitting: Fitting, given: frozenset[str]) -> dict[str, tuple[str, Mark]]:
    out: dict[str, tuple[str, Mark]] = {}
    for name in fitting.fields_used():
        extra: Any = Fitting.model_fields[name].json_schema_extra
        if name not in given and isinstance(extra, dict):
            out[name] = (str(extra["source"]), extra["mark"])
    return out
