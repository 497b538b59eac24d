"""Does a straight driver get to each screw as all parts stand?

Owns the verdict on the room over every head. A part in the way is one to put in later; a case or a held part that
leaves no room for a short key either is a fault.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence

import numpy as np

from elbowroom.model.digest import version
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.layout import Layout
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.screws.whereabouts import which
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Basis, Finding
from elbowroom.model.told.wordings import body_words, tenths
from elbowroom.parts.screw.screw_tables import DRIVER, head, washer
from elbowroom.parts.vocabulary.arrays import Floats

KEY_MM, KEY_ROOM_MM = (
    4.0,
    25.0,
)  # a slim shank and the short arm of a key: with less nothing turns a screw; no source (P)
REMOVABLE = frozenset({"glass", "open-side", "back-side"})  # a case's sides come off to work in it; common practice (P)
CLEAR_MM = 0.5  # mm above a head where the driver's path begins, so that the sheet under a low head is not met; (P)

# mm free above a head's top for a driver, the body that ends it (piece/body), mm free there for a slim key; None: free.
Met = tuple[float, str, float] | None


def check(scene: Scene, chosen: Sequence[Chosen], store: Store) -> list[Finding]:
    """A finding for the screws of a joint that a straight driver does not reach. `scene`: parts with their screws."""
    driven = [c for c in chosen if c.length is not None and not c.why and c.joint.ends != "stud"]
    placed = [(c, row) for c in driven for row in c.rows]
    if not placed:
        return []
    solids = [
        s for s in scene.solids
        if s.body.keep_out is None and not s.piece.part.small
        and not (s.piece.part.family == "case" and s.body.name in REMOVABLE)
    ]  # fmt: skip
    starts = np.array([over_head(c, row) for c, row in placed])
    ways = np.array([c.joint.axes[row].out for c, row in placed])
    called = {s.name: (s.piece.name, body_words(s.piece, s.body.name)) for s in solids}
    blocked: dict[tuple[int, str], list[tuple[int, float, float, str]]] = {}
    for (c, row), met in zip(placed, _met(scene, solids, starts, ways, store), strict=True):
        if met is not None:
            piece, words = called[met[1]]
            blocked.setdefault((chosen.index(c), piece), []).append((row, met[0], met[2], words))
    return [_finding(chosen[i], name, rows, scene.layout) for (i, name), rows in blocked.items()]


def over_head(c: Chosen, row: int) -> Floats:
    """The top of a screw's head on its axis, which all room above it is counted from."""
    washers = c.washers * washer(c.thread).thickness
    return c.joint.axes[row].point(sum(x.thickness for x in c.layers) + washers + head(c.head, c.thread).height)


def _met(scene: Scene, solids: Sequence[Solid], starts: Floats, ways: Floats, store: Store) -> list[Met]:
    """What ends each driver's path; kept by all it depends on."""
    digest = hashlib.blake2b(version().encode(), digest_size=16)
    for s in solids:
        digest.update(f"{s.name}|{s.shape.key}|".encode() + np.round(s.pose, 9).tobytes())
    digest.update(np.round(starts, 6).tobytes() + np.round(ways, 9).tobytes())
    record = b"drivers, from the head's top" + digest.digest()
    kept = store.records([record]).get(record)
    if kept is not None:
        return [None if m is None else (float(m[0]), str(m[1]), float(m[2])) for m in json.loads(kept)]
    from elbowroom.model.geometry.envelopes import Rods, obstacles_of
    from elbowroom.model.geometry.freespace import FREE, Space

    space, radius = Space(obstacles_of(Scene(scene.layout, tuple(solids)))), DRIVER.diameter / 2
    begin = starts + CLEAR_MM * ways
    hit = space.met(Rods(begin, starts + DRIVER.length * ways, np.full(len(starts), radius), False))
    found: list[Met] = [None] * len(starts)
    for k in np.flatnonzero(hit != FREE):
        free, name = space.free_length(begin[k], ways[k], radius, DRIVER.length - CLEAR_MM)
        if name is not None:
            key, _ = space.free_length(begin[k], ways[k], KEY_MM / 2, KEY_ROOM_MM - CLEAR_MM)
            # Nothing free where looking begins: what is in the way stands anywhere below it.
            found[k] = (free + CLEAR_MM if free > 0 else 0.0, name, key + CLEAR_MM if key > 0 else 0.0)
    store.keep_records({record: json.dumps(found).encode()})
    return found


def _finding(c: Chosen, name: str, rows: Sequence[tuple[int, float, float, str]], layout: Layout) -> Finding:
    least, key = min(r[1] for r in rows), min(r[2] for r in rows)
    bodies = " and ".join(dict.fromkeys(r[3] for r in sorted(rows, key=lambda r: r[1])))
    heads = "the heads of its screws" if len(c.rows) > 1 else "the head of its screw"
    if len(rows) < len(c.rows):
        few = which([c.joint.axes[i].origin for i in c.rows], [c.rows.index(r[0]) for r in rows], layout)
        heads = f"{len(rows)} of {len(c.rows)} heads{few and f' ({few})'}"
    last = c.joint.axes[rows[0][0]].passed[-1].opening
    sunk = last is not None and last.under_head is not None  # driven before the plate they are sunk in goes on
    fixed = not sunk and (name == "case" or name in {p.name for p in c.pieces})
    room = f"only {tenths(least, DRIVER.length)}" if least > 0 else f"less than {tenths(CLEAR_MM)}"
    text = f"{c.joint.name}: {room} free in front of {heads}, up to {bodies}"
    text += f"; a straight driver needs {DRIVER.length:g} mm"
    shut = fixed and key < KEY_ROOM_MM
    if shut:
        text += f"; a slim key has {tenths(key, KEY_ROOM_MM) if key > 0 else 'none'} of the {KEY_ROOM_MM:g} it takes"
    else:
        after = f"the plate goes onto {name}" if sunk else f"{name} goes in"
        text += (
            "; a slim or short one gets there"
            if fixed
            else f": drive {'them' if len(rows) > 1 else 'it'} in before {after}"
        )
    return Finding(
        "tool-access", "fail" if shut else "caution", tuple(dict.fromkeys((c.joint.axes[0].piece.name, name))), text,
        measured=least, required=DRIVER.length, low=least, high=max(least, CLEAR_MM),
        where=(_point(over_head(c, rows[0][0])),),
        basis=Basis("mesh"), extra=(("joint", c.joint.name), ("count", len(rows))), place=f"{c.joint.name}-driver",
    )  # fmt: skip


def _point(p: Floats) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))
