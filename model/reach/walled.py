"""Does a tube, once it lies, keep a neighbouring port from being used?

Owns one finding for each port whose fittings go on among the parts, but no longer beside the tubes of other runs: it
names the tubes in the way. Where nothing has to be opened again it is a matter of order and a caution; a port to fill
or drain by that a tube walls up is a fault, since it is opened with the tubes in place.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import combinations

from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Piece
from elbowroom.model.loop.plumbing import Chain, Plumbing
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.trial import attempt
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, UNDECIDED, Basis, Finding
from elbowroom.model.told.particulars import AtPort
from elbowroom.model.told.wordings import assumed_by

NEARBY = 60.0  # mm around a chain in which a tube could be in its way or in that of the fingers at it (P)


def check(
    parts: Scene, whole: Scene, plumbing: Plumbing, tubes: Mapping[str, Piece], found: Sequence[Finding], store: Store
) -> list[Finding]:
    """parts: the scene without fittings and tubes; whole: with them. tubes: by the run's name. found: the findings of
    the ports among the parts alone.
    """
    bare = Rooms(parts, store)
    bad = {f.about.port for f in found if isinstance(f.about, AtPort) and f.verdict in FAILING | UNDECIDED}
    names = {t.name: run for run, t in tubes.items()}
    pipes = [s for s in whole.solids if s.piece.name in names]
    rooms = _beside(bare, whole, pipes)
    sites = {s.port: s for s in rooms.sites}
    own = {port: names_at(plumbing, tubes, port) for port in plumbing.chains}
    service = {plumbing.fill, plumbing.drain}
    out = []
    for port, chain in plumbing.chains.items():
        site = sites.get(port)
        if site is None or not chain.links or str(port) in bad:
            continue
        reach = sum(max(li.fitting.reach_length, li.fitting.swing) for li in chain.links) + NEARBY
        near = {s.piece.name for s in rooms.around(site, reach) if s.piece.name in names} - own[port]
        if near and (by := _walled(bare, whole, site, chain, sorted(near))):
            out.append(_finding(site, chain, [(n, names[n]) for n in by], opened=port in service))
    return out


def names_at(plumbing: Plumbing, tubes: Mapping[str, Piece], port: Port) -> frozenset[str]:
    """The tubes that end at a port."""
    return frozenset(
        tubes[li.name].name for li in plumbing.lines if li.name in tubes and port in (li.start.port, li.end.port)
    )


def _beside(bare: Rooms, whole: Scene, pipes: Sequence[Solid]) -> Rooms:
    """The rooms of the parts with some tubes beside them."""
    return Rooms(Scene(whole.layout, (*bare.scene.solids, *pipes)), bare.store, base=bare)


def _walled(bare: Rooms, whole: Scene, site: Site, chain: Chain, near: Sequence[str]) -> tuple[str, ...]:
    """The fewest of some tubes that must be away for a chain to go on; empty where it goes on beside all of them."""

    def goes_on(there: Collection[str]) -> bool:
        some = [s for s in whole.solids if s.piece.name in there]
        return attempt(_beside(bare, whole, some), site, chain.links, None, full=False).problem is None

    if goes_on(near):
        return ()
    for count in (1, 2):
        for away in combinations(near, count):
            if goes_on([n for n in near if n not in away]):
                return away
    return tuple(near)


def _finding(site: Site, chain: Chain, tubes: Sequence[tuple[str, str]], *, opened: bool) -> Finding:
    sizes = " + ".join(li.size for li in chain.links)
    told = " and ".join(f"{name} ({run})" for name, run in tubes)
    one = len(tubes) == 1
    text = f"{site.port}: once {told} {'lies' if one else 'lie'} there, {sizes} can no longer be screwed in or out"
    drawn = [f"draw {run} on another way (through: ...)" for _, run in tubes]
    if opened:
        text += "; the loop is filled or drained by it, with all tubes in place"
    else:
        text += f"; screw it in before {'that tube is' if one else 'those tubes are'} laid"
    return Finding(
        "port-reach", "fail" if opened else "caution", (site.piece.name,), text, tuple(f"{n}/tube" for n, _ in tubes),
        where=((float(site.origin[0]), float(site.origin[1]), float(site.origin[2])),),
        basis=Basis("mesh", 0.0, assumed_by(site.piece)), remedies=tuple(drawn),
        extra=(("tubes", [n for n, _ in tubes]),), about=AtPort(str(site.port)), place=f"{site.frame.name}~tubes",
    )  # fmt: skip
