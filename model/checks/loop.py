"""Does the coolant get round?

Owns the verdicts on the runs that the build's `loop` lists, taken together with what the parts join inside:

- ports: each is used once, or closed by a plug or a valve; two users or none is a `fail`. A port closed by a valve's
  handle alone is a `caution`. A part with ports that no run reaches is a `fail` where it must be cooled or stands open,
  else a `caution`.
- the way round: a run that leads nowhere, a way round without a pump, and a second circuit that has none are `fail`;
  circuits each with a pump of its own are a `caution`. Arrows that do not go round are a `fail`.
- sense: a pump against its marks is a `fail`: it pushes the other way, whatever is drawn. Any other part against its
  marks is a `caution`: it leaks nothing and cools less, as many CPU blocks need their marked inlet.
- the flow dividing is a `caution`, as its shares are not known; so are tubes of different bore in one loop.

Where a part does not state which of its many ports are joined, all are taken as joined. What fails even so, fails; the
way round itself is then `unknown`. Nothing here needs shapes: it is all names, threads and marks.
"""

from __future__ import annotations

from elbowroom.model.checks import loop_round
from elbowroom.model.checks.loop_terms import Loop, are, listed, pieces, them
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout
from elbowroom.model.loop.hydraulics import open_ports, ports_at, valve_only
from elbowroom.model.loop.plumbing import Plumbing, ports_of
from elbowroom.model.told.findings import Finding, Verdict
from elbowroom.parts.card.gpu import Gpu


def check(layout: Layout, plumbing: Plumbing | None) -> list[Finding]:
    """Every finding about the loop; none where the build lists no run.

    layout: as `plumbing` was read from, so without the fittings and tubes of the runs themselves.
    """
    if plumbing is None or not plumbing.lines:
        return []
    loop = Loop(layout, plumbing)
    found, turned = loop_round.check(loop)
    return [*_ports(loop), *_joints(loop), *found, *_sense(loop, turned), *_tubes(loop)]


def _ports(loop: Loop) -> list[Finding]:
    """A finding for each port used twice and each piece with open ports; one for all of them where none is amiss."""
    users, reached = loop.net.users(), loop.net.reached()
    left = open_ports(loop.layout, loop.net, loop.plumbing)
    found = [_twice(loop, port, words) for port, words in users.items() if len(words) > 1]
    female: dict[str, list[Port]] = {}
    for piece, frame in ports_of(loop.layout):
        female.setdefault(piece.name, []).append(Port(piece.name, frame.name))
    for name, ports in female.items():
        if name not in reached and not any(p in users for p in ports):
            found.append(_left_out(loop, name, ports, left.get(name, [])))
            continue
        if name in left:
            found.append(_open(loop, name, left[name]))
        found += [_valve(loop, p) for p in ports if p not in users and valve_only(loop.plumbing, p)]
    if all(f.verdict != "fail" for f in found):
        count = sum(len(ports) for name, ports in female.items() if name in reached)
        text = f"all {count} ports of the loop's parts are used once or closed"
        found.append(loop.finding("pass", reached, text, "ports", measured=count, unit="ports"))
    return found


def _twice(loop: Loop, port: Port, words: list[str]) -> Finding:
    text = f"{port} takes one thread and is wanted by {len(words)}: {', '.join(words)}"
    spare = loop.spare(port)
    remedy = f"lead one of them to {listed(spare, 'or')}" if spare else "join them at a part with one more port"
    return loop.finding("fail", [port.piece], text, f"twice {port.frame}", [port], [remedy], len(words), "users", 1)


def _open(loop: Loop, name: str, ports: list[Port]) -> Finding:
    text = f"{listed(ports)} {are(ports)} left open: no run ends there and nothing closes {them(ports)}"
    half = [p for p in ports if p in loop.plumbing.chains]
    if half:
        text += f"; what is screwed into {listed(half)} has an open end"
    remedies = [f'close {them(ports)} with a plug ("fittings: {{unused: plug}}" closes every unused port)']
    return loop.finding("fail", [name], text, "open", ports, remedies, len(ports), "ports", 0)


def _left_out(loop: Loop, name: str, ports: list[Port], left: list[Port]) -> Finding:
    part = loop.layout.piece(name).part
    text = f"no run of the loop reaches {name}: {listed(ports)} {are(ports)} not used"
    if left and len(left) < len(ports):
        text += f", and {listed(left)} {are(left)} not closed either"
    other = "choose a cooler without ports" if isinstance(part, Gpu) else "leave the part out"
    verdict: Verdict = "fail" if left or part.needs_coolant else "caution"
    remedies = [f"lead the loop through {name}", other]
    return loop.finding(verdict, [name], text, "left-out", ports, remedies, len(ports), "ports", 0)


def _valve(loop: Loop, port: Port) -> Finding:
    text = f"{port} is closed by its valve's handle alone; a knock on it empties the loop"
    return loop.finding("caution", [port.piece], text, f"valve {port.frame}", [port], ["screw a plug into the valve"])


def _joints(loop: Loop) -> list[Finding]:
    """A finding for each two ports brought together whose threads do not go into each other."""
    found = []
    for a, b in loop.net.joints:
        one, other = loop.net.frames[a], loop.net.frames[b]
        if one.thread != other.thread:
            text = f"{a} ({one.thread}) and {b} ({other.thread}) are brought together and have different threads"
        elif (one.depth is None) == (other.depth is None):
            text = f"{a} and {b} are brought together and both are {'male' if one.depth is None else 'female'} threads"
        else:
            continue
        place = f"thread {a.frame} {b.frame}"
        found.append(loop.finding("fail", [a.piece, b.piece], text, place, [a, b], ["put an adapter between them"]))
    return found


def _sense(loop: Loop, turned: frozenset[int]) -> list[Finding]:
    """A finding for each piece that the coolant goes through against the marks of its ports.

    turned: pipes coolant runs through against their arrow. A ring that is turned as a whole is one the pump pushes
    backward: the pump is told of it, and the other parts are held against the way it really goes.
    """
    net = loop.net
    wrong: dict[str, list[Port]] = {}
    for i, pipe in enumerate(net.pipes):
        whole = any(i in block and turned.issuperset(block) for block, _ in loop.blocks)
        start, end = ports_at(pipe)
        for port, drawn, back in ((start, "out", "in"), (end, "in", "out")):
            pumped = net.ways[net.way_of[port]].pumped
            sense = back if i in turned and not (pumped and whole) else drawn
            if net.frames[port].flow not in (None, sense):
                wrong.setdefault(port.piece, []).append(port)
    return [_reversed(loop, name, ports) for name, ports in wrong.items()]


def _reversed(loop: Loop, name: str, ports: list[Port]) -> Finding:
    net, told = loop.net, []
    for p in dict.fromkeys(ports):
        marked = net.frames[p].flow
        told.append(f"coolant {'leaves' if marked == 'in' else 'enters'} by {p}, marked {marked}")
    if any(net.ways[net.way_of[p]].pumped for p in ports):
        text = f"the loop goes through {name} against its pump: {listed(told)}"
        remedies = [f"begin a run at the port of {name} marked out, and end one at that marked in"]
        return loop.finding("fail", [name], text, "sense", ports, remedies)
    text = f"the loop goes through {name} against its marks: {listed(told)}; it may cool less"
    remedies = [f"change over the runs at {name}, or find out whether it may be used either way"]
    return loop.finding("caution", [name], text, "sense", ports, remedies)


def _tubes(loop: Loop) -> list[Finding]:
    """A finding where runs of the loop are of different tube."""
    kinds: dict[tuple[float, float], list[str]] = {}
    for line in loop.net.pipes:
        stock = line.tubing.stock
        kinds.setdefault((float(stock.od), float(stock.id)), []).append(line.name)
    if len(kinds) < 2:
        return []
    told = "; ".join(f"{od:g}/{inner:g} mm in {', '.join(names)}" for (od, inner), names in kinds.items())
    text = f"the runs are of tubes of {len(kinds)} sizes: {told}"
    remedies = ["buy each fitting for its own tube, or use one tube throughout"]
    parts = pieces(loop.ports(range(len(loop.net.pipes))))
    narrowest = min(inner for _, inner in kinds)
    return [loop.finding("caution", parts, text, "tubes", (), remedies, narrowest, "mm")]
