"""What is kept of a port's answer, and under which key, so that an unchanged port is not judged twice.

Owns the key (everything an answer depends on: code, the port, its chain, every solid within the farthest that any of
its questions looks) and the form of a solid in the store, as numpy arrays. Leaves the cache itself to
`store`, and the form of a finding to `kept_findings`.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from elbowroom.model import digest
from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.layout.directions import open_side_of
from elbowroom.model.loop.plumbing import Link, Tubing
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.verdicts import Wanted
from elbowroom.model.tolerances import POSE_MOVE_DIGITS

# mm beyond a chain that its questions may look: the free axis (300), a finger with its hand (225), and the longest
# remedy in its place (150).
HORIZON = 450.0


def key_of(rooms: Rooms, site: Site, wanted: Wanted, usual: Tubing | None) -> bytes:
    """The key of a port's answer."""
    reach = sum(max(li.fitting.reach_length, li.fitting.swing) for li in wanted.links)
    near = [
        [
            s.piece.name, s.piece.part.family, s.body.name, s.body.keep_out, list(s.body.admits), s.shape.key,
            (np.round(s.pose, POSE_MOVE_DIGITS) + 0.0).tolist(), list(s.piece.assumed), s.mesh.fault,
        ]
        for s in rooms.around(site, HORIZON + reach)
    ]  # fmt: skip
    f = site.frame
    mates = [
        [m.piece, m.frame, m.to_piece, m.to_frame]
        for m in rooms.layout.mates
        if site.piece.name in (m.piece, m.to_piece)
    ]
    facts = [
        digest.version(), str(site.port), f.thread, f.depth, f.land, site.lift, (np.round(site.pose, 9) + 0.0).tolist(),
        _links(wanted.links), _tube(wanted.tubing), _tube(usual), near, mates, open_side_of(rooms.layout),
    ]  # fmt: skip
    return hashlib.blake2b(json.dumps(facts).encode(), digest_size=16).digest()


def _links(links: Sequence[Link]) -> list[Any]:
    return [[li.size, li.free, sorted(li.given), li.fitting.shape_key(), float(li.fitting.finger_room)] for li in links]


def _tube(t: Tubing | None) -> list[Any] | None:
    return None if t is None else [t.stock.kind, t.stock.od, t.stock.id, t.radius]


def joined(keys: Sequence[bytes]) -> bytes:
    """One key for many."""
    return hashlib.blake2b(b"all" + b"".join(keys), digest_size=16).digest()


# Solids ---------------------------------------------------------------------------------------------------------------


def solid_name(key: bytes) -> str:
    return f"{key.hex()}.reach"


def pack_solid(mesh: Mesh | None) -> bytes:
    out = io.BytesIO()
    if mesh is None:
        np.savez(out, nothing=np.zeros(1))
    else:
        np.savez(out, vertices=mesh.vertices, triangles=mesh.triangles, size=np.array([mesh.bound, mesh.volume_mm3]))
    return out.getvalue()


def unpack_solid(data: bytes) -> Mesh | None:
    """Raises ValueError or KeyError where the bytes are not those of `pack_solid`."""
    with np.load(io.BytesIO(data), allow_pickle=False) as z:
        if "nothing" in z:
            return None
        bound, size = (float(x) for x in z["size"])
        return Mesh(z["vertices"], z["triangles"], bound, size)
