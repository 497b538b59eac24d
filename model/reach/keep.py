"""What is kept of a port's answer, and under which key, so that an unchanged port is not judged twice.

Owns the keys (everything an answer depends on: code, the port, its chain, and every solid within the farthest that any
of its questions looks, or that meets what its own questions did look at) and the form of a solid in the store, as numpy
arrays. Leaves the cache itself to `store`, what is kept of where one looked to `geometry.alike`, and the form of a
finding to `kept_findings`.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Collection, Sequence
from typing import Any

import numpy as np

from elbowroom.model import digest
from elbowroom.model.geometry.alike import Alike, digest_of
from elbowroom.model.geometry.looked import Blocks
from elbowroom.model.geometry.scene import Mesh, Solid
from elbowroom.model.layout.directions import open_side_of
from elbowroom.model.loop.plumbing import Link, Tubing
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.verdicts import Wanted
from elbowroom.model.tolerances import POSE_MOVE_DIGITS

# mm beyond a chain that its questions may look: the free axis (300), a finger with its hand (225), and the longest
# remedy in its place (150).
HORIZON = 450.0


def key_of(rooms: Rooms, site: Site, wanted: Wanted, usual: Tubing | None) -> bytes:
    """The key of a port's answer, by all that stands within the horizon: quickly found, and lost with any edit near."""
    reach = sum(max(li.fitting.reach_length, li.fitting.swing) for li in wanted.links)
    near = [_standing(s) for s in rooms.around(site, HORIZON + reach)]
    return digest_of([*_asked(rooms, site, wanted, usual), near])


def _asked(rooms: Rooms, site: Site, wanted: Wanted, usual: Tubing | None) -> list[Any]:
    """The question: all that an answer depends on beside what stands around the port."""
    f, own = site.frame, site.piece
    mates = [
        [m.piece, m.frame, m.to_piece, m.to_frame]
        for m in rooms.layout.mates
        if site.piece.name in (m.piece, m.to_piece)
    ]
    families = {p.name: p.part.family for p in rooms.layout.pieces}
    return [
        digest.version(), str(site.port), f.thread, f.depth, f.land, site.lift, (np.round(site.pose, 9) + 0.0).tolist(),
        own.part.family, list(own.assumed), _links(wanted.links), _tube(wanted.tubing), _tube(usual), mates,
        [[families[m[0]], families[m[2]]] for m in mates], open_side_of(rooms.layout),
    ]  # fmt: skip


def _standing(s: Solid) -> list[Any]:
    """A body as it stands: all that an answer can take from it."""
    return [
        s.piece.name, s.piece.part.family, s.body.name, s.body.keep_out, list(s.body.admits), s.shape.key,
        (np.round(s.pose, POSE_MOVE_DIGITS) + 0.0).tolist(), list(s.piece.assumed), s.mesh.fault,
    ]  # fmt: skip


def proved(rooms: Rooms, site: Site, wanted: Wanted, moving: Collection[str], ask: Callable[[], bool]) -> bool:
    """A yes or no about a port, kept under the question and every body in the rooms, each with its bound and its
    dimensions: those that a height moves stand in them wider, thinner or longer than they are drawn.
    """
    bodies = [[*_standing(s), s.mesh.bound, s.piece.part.shape_key(), s.lo.tolist()] for s in rooms.scene.solids]
    key = digest_of(["proved", *_asked(rooms, site, wanted, None), rooms.less, sorted(moving), bodies])
    data: bytes | None = rooms.store.recall("record", key) or rooms.store.records([key]).get(key)
    if data not in (b"y", b"n"):
        data = b"y" if ask() else b"n"
        rooms.store.keep_records({key: data})
    rooms.store.remember("record", key, data)
    return data == b"y"


def narrow(rooms: Rooms, site: Site, wanted: Wanted, usual: Tubing | None) -> Alike:
    """Answers on a port, kept under what they looked at: the key of their solid, 16 bytes, and the finding."""

    def standing(blocks: Blocks) -> list[Any]:
        return [_standing(s) for s in rooms.meeting(blocks)]

    return Alike(_asked(rooms, site, wanted, usual), standing, rooms.store)


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
