"""Does the air go through? Which way each fan blows, what it blows through, and what works against it.

Owns what works against it, by `airflow`'s geometry; the whole flow, and the words for fans, are `air_told`'s.

- fans that blow against each other along one line - through a radiator, or one on the other - are a `fail`: hardly any
  air passes. Fans side by side at one radiator or opening that blow opposite ways are a `caution`: air goes round from
  one to the other. So is a fan whose own `flow` differs from its stack's.
- a radiator that no fan blows through, a fan against a closed panel, and fans that all blow in, or all out, with no
  opening left for the air to come back by, are each a `caution`.
- a layer in a fan's line that leaves less than half of its disc open is a `caution`, one that is as good as closed a
  `fail`; so are several that do so together.

- in against out, and the heat it is to carry (`air_amounts`); what stands right before a fan, its cable at the glass
  and its pads (`fan_sides`).

Fans and radiators of a power supply or a card are not counted: they are not parts of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

from elbowroom.model.build.entries import Build
from elbowroom.model.build.spec import Layering
from elbowroom.model.checks.air_amounts import amounts
from elbowroom.model.checks.air_told import blow, called, flow
from elbowroom.model.checks.airflow import HALF, Blown, fans, open_share, openings, opposed
from elbowroom.model.checks.fan_sides import at_glass, crowded, padded
from elbowroom.model.checks.loop_terms import listed
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.layout.stacks import layer_names
from elbowroom.model.told.findings import Basis, Finding, Point, Verdict
from elbowroom.model.told.wordings import tenths
from elbowroom.parts.vocabulary.pose import apply
from elbowroom.parts.water.radiator import Radiator

SHUT = 0.1  # of a fan's disc: less is as good as closed; common practice, no source (P)
_OPEN = frozenset({"fan", "radiator", "dust-filter", "gasket", "washer", "shim", "screw", "nut"})  # made for the air


def check(build: Build, layout: Layout, scene: Scene | None = None) -> list[Finding]:
    """Every finding about the air; none where the build has neither fans nor radiators. scene: the parts as solids, by
    which layers that are closed before a fan are found.
    """
    every = fans(layout)
    radiators = [p for p in layout.pieces if isinstance(p.part, Radiator)]
    if not every and not radiators:
        return []
    against = _against(every)
    told = {name for f in against for name in f.parts}
    return [
        *against,
        *_aside(layout, every, radiators),
        *_own_way(build, every, told),
        *_still(every, radiators),
        *_shut(every),
        *_stopped(every, scene),
        *_one_way(layout, every),
        *crowded(every, scene),
        *at_glass(layout, every),
        *padded(layout, every),
        *amounts(layout, every, build.air),
        flow(layout, every, radiators),
    ]


def _against(every: Sequence[Blown]) -> list[Finding]:
    """A finding for each group of fans that blow against each other along their lines."""
    by_name = {f.name: f for f in every}
    pairs = [
        (a, b)
        for a, b in combinations(every, 2)
        if opposed(a, b) and (b.piece in a.line or a.piece in b.line)
    ]  # fmt: skip
    # Fans that work against each other at one radiator are one fault, however many stand side by side.
    at_radiator: dict[str, str] = {}
    joined = [(a.name, b.name) for a, b in pairs]
    for a, b in pairs:
        shared = [p.name for p in a.line if isinstance(p.part, Radiator) and p in b.line]
        joined += [(at_radiator.setdefault(name, a.name), a.name) for name in shared]
    found = []
    for group in _grouped(joined):
        members = [f for f in every if f.name in group]
        one = [f for f in members if not opposed(members[0], f)]
        other = [f for f in members if opposed(members[0], f)]
        # Between them: what stands ahead of both where they face each other, behind both where they pull apart.
        mine = [(a, b) for a, b in pairs if a.name in group]
        between = dict.fromkeys(
            p.name for a, b in mine for p in a.line if isinstance(p.part, Radiator) and p in by_name[b.name].line
        )
        through = f" through {listed(list(between))}" if between else ""
        facing = mine[0][1].piece in mine[0][0].ahead
        how = "blow against each other" if facing else "draw against each other"
        text = (
            f"{called(one)} ({one[0].toward}) and {called(other)} ({other[0].toward}) {how}{through}: "
            "hardly any air passes"
        )
        remedies = [f"turn {called(other)} round, to blow {one[0].toward} as well"]
        remedies.append(f"or turn {called(one)} round, to blow {other[0].toward} as well")
        parts = [*(f.name for f in one), *(f.name for f in other), *between]
        found.append(_finding("fail", parts, text, f"against {members[0].name}", (one[0], other[0]), remedies))
    return found


def _grouped(pairs: Iterable[tuple[str, str]]) -> list[set[str]]:
    """Names joined by pairs, as sets that share none."""
    groups: list[set[str]] = []
    for pair in pairs:
        met = [g for g in groups if g & set(pair)]
        groups = [g for g in groups if g not in met] + [set(pair).union(*met)]
    return groups


def _aside(layout: Layout, every: Sequence[Blown], radiators: Sequence[Piece]) -> list[Finding]:
    """Fans of one radiator, or one opening, that blow opposite ways beside each other."""
    places = {name: [f for f in every if f.opening == name] for name in openings(layout)}
    places |= {r.name: [f for f in every if r in f.line] for r in radiators}
    found, told = [], set[frozenset[str]]()
    for place, here in places.items():
        one = [f for f in here if not opposed(here[0], f)]
        other = [f for f in here if opposed(here[0], f)]
        names = frozenset(f.name for f in here)
        if not other or names in told or any(b.piece in a.line for a in one for b in other):
            continue
        told.add(names)
        text = (
            f"beside each other at {place}, {called(one)} {blow(one)} {one[0].toward} and {called(other)} "
            f"{blow(other)} {other[0].toward}: air goes round from one to the other"
        )
        remedies = [f"let {called(other)} blow {one[0].toward} as well"]
        found.append(_finding("caution", sorted(names), text, f"aside {place}", (one[0], other[0]), remedies))
    return found


def _own_way(build: Build, every: Sequence[Blown], told: set[str]) -> list[Finding]:
    """Fans whose own `flow` differs from the one their stack states, where nothing was said of them yet."""
    found = []
    for stack in build.stacks:
        names = layer_names(stack)
        for name, entry in zip(names, (*stack.layers, *stack.outside), strict=True):
            words = entry.words
            own = words.flow if isinstance(words, Layering) else None
            if own is None or stack.spec.flow is None or own == stack.spec.flow:
                continue
            here = [f for f in every if f.piece.stack == stack.name and f.piece.answers_to(name)]
            if here and not told & {f.name for f in here}:
                text = (
                    f"{called(here)} {blow(here)} {own}, and the {stack.name} stack is said to blow {stack.spec.flow}"
                )
                remedies = [f"take the flow off {name}, or state the stack's as {own}"]
                found.append(_finding("caution", [f.name for f in here], text, f"own-way {name}", here[:1], remedies))
    return found


def _still(every: Sequence[Blown], radiators: Sequence[Piece]) -> list[Finding]:
    found = []
    for r in radiators:
        if not any(r in f.line for f in every):
            text = f"no fan blows through {r.name}: it gives off little heat"
            x, y, z = apply(r.pose, (0.0, 0.0, float(r.part.box().hi[2]) / 2)).tolist()
            found.append(
                Finding("air", "caution", (r.name,), text, unit="fans", measured=0, required=1, where=((x, y, z),),
                        basis=Basis("arithmetic"), remedies=(f"lay fans on {r.name}",), place="still")
            )  # fmt: skip
    return found


def _shut(every: Sequence[Blown]) -> list[Finding]:
    """Fans before a closed panel, gathered by stack and panel."""
    groups: dict[tuple[str, str, int], list[Blown]] = {}
    for f in every:
        if f.closed and f.wall is not None:
            groups.setdefault((f.piece.assembly, f.wall, f.inward), []).append(f)
    found = []
    for (_, wall, inward), here in groups.items():
        gap = min(f.gap for f in here)
        how = f"{'draw' if len(here) > 1 else 'draws'} from" if inward > 0 else f"{blow(here)} against"
        panel = f"closed {_PANELS.get(wall, wall)}, {tenths(gap)} away"
        text = f"{called(here)} {how} the {panel}: air passes only at the side"
        remedies = [f"stand {called(here)} at an opening of the case, or cut one there"]
        found.append(
            _finding("caution", [f.name for f in here], text, f"shut {wall}", here[:1], remedies, measured=gap)
        )
    return found


def stopped(scene: Scene) -> list[Finding]:
    """A finding for each layer, or layers one behind the other, by which fans get too little air."""
    return _stopped(fans(scene.layout), scene)


def _stopped(every: Sequence[Blown], scene: Scene | None) -> list[Finding]:
    """Fans with a layer before or behind them that leaves too little of their disc open, by layer; and several that
    each leave enough, and together do not.
    """
    bodies: dict[str, list[Solid]] = {}
    for solid in scene.solids if scene is not None else ():
        if solid.body.keep_out is None:
            bodies.setdefault(solid.piece.name, []).append(solid)
    by_layer: dict[tuple[str, ...], list[tuple[float, Blown]]] = {}
    for fan in every:
        layers = [p.name for p in fan.line if p.part.family not in _OPEN and p.name in bodies]
        shares = {name: open_share(fan, bodies[name]) for name in layers}
        for name, share in shares.items():
            if share < HALF:
                by_layer.setdefault((name,), []).append((share, fan))
        if len(layers) > 1:
            both = open_share(fan, [s for name in layers for s in bodies[name]])
            if both < HALF and (min(shares.values()) >= HALF or both < SHUT <= min(shares.values())):
                by_layer.setdefault(tuple(layers), []).append((both, fan))
    found = []
    for names, here in by_layer.items():
        least, fans_here = min(s for s, _ in here), [f for _, f in here]
        verdict: Verdict = "fail" if least < SHUT else "caution"
        layer = listed(list(names))
        together = " together leave" if len(names) > 1 else " leaves"
        text = f"{layer}{together} {least:.0%} of the air of {called(fans_here)} open"
        remedies = [f"cut an opening of the fan's size into {layer}"]
        parts = [*names, *(f.name for f in fans_here)]
        found.append(
            _finding(verdict, parts, text, f"stopped {layer}", fans_here[:1], remedies, measured=round(least, 2))
        )
    return found


_PANELS = {"open": "side panel", "tray": "tray"}


def _one_way(layout: Layout, every: Sequence[Blown]) -> list[Finding]:
    at_wall = [f for f in every if f.inward and f.opening is not None]
    if not at_wall or len({f.inward for f in at_wall}) > 1:
        return []
    if any(name not in {f.opening for f in at_wall} for name in openings(layout)):
        return []  # the air comes back by an opening without a fan
    way, back = ("in", "out") if at_wall[0].inward > 0 else ("out", "in")
    text = (
        f"all {len(at_wall)} fans at openings blow {way}"
        if len(at_wall) > 1
        else f"the one fan at an opening blows {way}"
    )
    text += f", and there is no other opening: the air gets {back} only through slots and gaps"
    remedies = [f"let the fans of one opening blow {back}"]
    return [_finding("caution", [f.name for f in at_wall], text, "one-way", at_wall[:1], remedies)]


def _finding(
    verdict: Verdict,
    parts: Sequence[str],
    text: str,
    place: str,
    at: Sequence[Blown],
    remedies: Sequence[str],
    measured: float | None = None,
) -> Finding:
    where: tuple[Point, ...] = tuple(f.middle for f in at)
    return Finding(
        "air", verdict, tuple(dict.fromkeys(parts)), text, measured=measured, where=where, basis=Basis("arithmetic"),
        remedies=tuple(remedies), place=place,
    )  # fmt: skip
