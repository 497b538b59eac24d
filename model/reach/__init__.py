"""Can each port be used?

For every female port of every placed part: is its seal face whole and free, how far is its axis free, does the chosen
chain of fittings go on (and at which angles, where it swivels), can fingers turn it and a hand come to it, can its tube
leave, and what would go on instead. In front of each port the reachable space is a volume and a solid. Neighbouring
ports are judged against each other.

The scene holds the placed parts without any fittings or tubes: these are what is tried. Owns running the questions
and keeping their answers; each question has a module of its own. Answers come from the envelopes of fittings as their
fields say, and from the meshes of everything else: an envelope inside a solid is not free, and an obstacle more never
frees anything.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from elbowroom.model.geometry.looked import looking
from elbowroom.model.geometry.scene import Mesh, Scene
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout
from elbowroom.model.loop.plumbing import Plumbing, Tubing, ports_of
from elbowroom.model.reach import keep
from elbowroom.model.reach.neighbours import advised, neighbours, standing_chain
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.verdicts import Answer, Wanted, answer
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, Finding
from elbowroom.model.told.kept_findings import pack, unpack
from elbowroom.model.told.particulars import AtPort
from elbowroom.model.told.progress import Progress

__all__ = ["check", "check_chosen", "meant", "out_of_reach", "reach_solids"]


def check_chosen(scene: Scene, plumbing: Plumbing, store: Store, pieces: Collection[str]) -> list[Finding]:
    """The findings of those ports of some pieces that fittings are meant for."""
    rooms = Rooms(scene, store)
    wanted, usual = _wanted(plumbing)
    sites = [s for s in rooms.sites if s.port.piece in pieces and wanted.get(s.port, Wanted()).links]
    keys = {s.port: keep.key_of(rooms, s, wanted[s.port], usual) for s in sites}
    kept = store.records(keys.values())
    out = []
    for s in sites:
        known = _kept(kept.get(keys[s.port]))
        out.append(_told(rooms, s, wanted, usual, keys[s.port]) if known is None else known)
    return out


def check(scene: Scene, plumbing: Plumbing | None, store: Store, progress: Progress | None = None) -> list[Finding]:
    """One finding for every female port of every placed part, then those about neighbouring ports that are no pass."""
    rooms = Rooms(scene, store)
    wanted, usual = _wanted(plumbing)
    keys = {s.port: keep.key_of(rooms, s, wanted.get(s.port, Wanted()), usual) for s in rooms.sites}
    kept = store.records(keys.values())
    found: dict[Port, Finding] = {}
    for n, site in enumerate(rooms.sites, 1):
        finding = _kept(kept.get(keys[site.port]))
        if finding is None:
            finding = _told(rooms, site, wanted, usual, keys[site.port])
        found[site.port] = finding
        if progress is not None:
            progress(n, len(rooms.sites), f"checking {site.port}")
    more = _pairs(rooms, wanted, found, keep.joined(list(keys.values())))
    instead = {f.id: f for f in more}
    own = {f.id for f in found.values()}
    return [*(instead.get(f.id, f) for f in found.values()), *(f for f in more if f.id not in own)]


def reach_solids(scene: Scene, plumbing: Plumbing | None, store: Store) -> dict[str, Mesh]:
    """The reachable space in front of each port as a closed mesh in case coordinates, by the port's name; ports with
    none are left out.
    """
    rooms = Rooms(scene, store)
    wanted, usual = _wanted(plumbing)
    out = {}
    for site in rooms.sites:
        key = keep.key_of(rooms, site, wanted.get(site.port, Wanted()), usual)
        solid: Mesh | None = None
        data = store.read(keep.solid_name(key))
        try:
            if data is None:
                raise ValueError("not kept")
            solid = keep.unpack_solid(data)
        except (ValueError, KeyError, OSError):
            solid = _judge(rooms, site, wanted, usual, key).solid
        if solid is not None:
            out[str(site.port)] = solid
    return out


def out_of_reach(layout: Layout, found: Iterable[Finding]) -> frozenset[Port]:
    """The ports by which no one can fill or drain: covered, nothing goes on, or no hand gets to what does."""
    names = set()
    for f in found:
        at = f.about
        if isinstance(at, AtPort) and (f.verdict in FAILING or at.takes_none or at.covered or not at.in_reach):
            names.add(at.port)
    return frozenset(p for piece, frame in ports_of(layout) if str(p := Port(piece.name, frame.name)) in names)


def meant(plumbing: Plumbing) -> dict[Port, Wanted]:
    """What is meant for each port."""
    return _wanted(plumbing)[0]


def _wanted(plumbing: Plumbing | None) -> tuple[dict[Port, Wanted], Tubing | None]:
    """What is meant for each port, and the tube of the first run, which the loop is taken to be made of."""
    if plumbing is None:
        return {}, None
    tubes = {c.port: line.tubing for line in plumbing.lines for c in (line.start, line.end)}
    wanted = {port: Wanted(chain.links, tubes.get(port)) for port, chain in plumbing.chains.items()}
    return wanted, plumbing.lines[0].tubing if plumbing.lines else None


def _told(rooms: Rooms, site: Site, wanted: dict[Port, Wanted], usual: Tubing | None, key: bytes) -> Finding:
    """The finding of a port with no answer under that key: one kept of a scene that is alike where it looked, else a
    new one. Under the key it is then kept, too.
    """
    known = keep.narrow(rooms, site, wanted.get(site.port, Wanted()), usual).recall()
    finding = None if known is None else _kept(known[16:])
    if known is None or finding is None:
        return _judge(rooms, site, wanted, usual, key).finding
    rooms.store.keep_records({key: known[16:]})
    solid = rooms.store.read(keep.solid_name(known[:16]))
    if solid is not None:
        rooms.store.write(keep.solid_name(key), solid)
    return finding


def _judge(rooms: Rooms, site: Site, wanted: dict[Port, Wanted], usual: Tubing | None, key: bytes) -> Answer:
    own = wanted.get(site.port, Wanted())
    with looking() as looked:
        found = answer(rooms, site, own, usual)
    data = pack([found.finding])
    rooms.store.keep_records({key: data})
    rooms.store.write(keep.solid_name(key), keep.pack_solid(found.solid))
    keep.narrow(rooms, site, own, usual).keep(looked, key + data)
    return found


def _kept(data: bytes | None) -> Finding | None:
    if data is None:
        return None
    try:
        (finding,) = unpack(data)
    except (ValueError, TypeError, IndexError, KeyError):
        return None
    return finding


def _pairs(rooms: Rooms, wanted: dict[Port, Wanted], found: dict[Port, Finding], key: bytes) -> list[Finding]:
    """Findings about neighbouring ports, and those of single ports whose remedies do not all go beside the others."""
    data = rooms.store.records([key]).get(key)
    if data is not None:
        try:
            return unpack(data)
        except (ValueError, TypeError, IndexError, KeyError):
            pass
    stands = []
    for site in rooms.sites:
        at = found[site.port].about
        if isinstance(at, AtPort) and not at.covered:
            one = standing_chain(rooms, site, wanted.get(site.port, Wanted()), dict(at.posture or ()))
            if one is not None:
                stands.append(one)
    advice = [(found[s.site.port], advised(rooms, s, found[s.site.port], stands)) for s in stands]
    out = [*(new for old, new in advice if new.remedies != old.remedies), *neighbours(rooms, stands)]
    rooms.store.keep_records({key: pack(out)})
    return out
