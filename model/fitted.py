"""Chains of fittings as pieces: their names, poses and mates, and where a tube leaves them.

Owns what a chain comes to once its swivels have their turn. Which chains there are is `plumbing`'s; how swivels turn
is found by `routing`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from elbowroom.model.envelopes import Rod
from elbowroom.model.layout import Layout, Mate, Piece
from elbowroom.model.plumbing import Chain, Port, link_poses
from elbowroom.parts.base import Mark
from elbowroom.parts.fitting import Fitting
from elbowroom.parts.pose import Pose, apply, compose

Turns = Mapping[Port, Sequence[float]]  # degrees of the free swivels of the chain on each port, in the chain's order


def fitting_name(chain: Chain, i: int) -> str:
    """The piece name of one fitting of a chain."""
    return f"{chain.links[i].size} at {chain.port}" + (f" ({i + 1})" if len(chain.links) > 1 else "")


def fittings(layout: Layout, chains: Iterable[Chain], turns: Turns) -> tuple[list[Piece], list[Mate]]:
    """Fittings of chains as pieces, each mated to what it is screwed into. A swivel without a turn keeps its own."""
    pieces, mates = [], []
    for chain in chains:
        angles = dict(zip(chain.free, turns.get(chain.port, ()), strict=False))
        before = (chain.port.piece, chain.port.frame)
        for i, (link, pose) in enumerate(link_poses(layout, chain, angles)):
            name = fitting_name(chain, i)
            pieces.append(Piece(name, link.fitting, pose, "fittings", link.given, _sources(link.fitting, link.given)))
            mates.append(Mate(name, "base", *before))
            following = link.fitting.next_frames()
            if following:
                before = (name, following[-1].name)
    return pieces, mates


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
