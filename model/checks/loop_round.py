"""The way round of the loop: dead legs, ways round without a pump, circuits apart, arrows, branches.

Owns those verdicts, as `loop` lists them. Leaves single ports, marks and tubes to `loop`.
"""

from __future__ import annotations

from elbowroom.model.checks.loop_terms import Loop, are, listed, pieces, them
from elbowroom.model.loop.hydraulics import Branch, against_all, branches, is_ring, parts_apart, ports_at, round_trip
from elbowroom.model.told.findings import Finding, Verdict


def check(loop: Loop) -> tuple[list[Finding], frozenset[int]]:
    """Findings on the way round, and the pipes that coolant must run through against their arrow."""
    found = [*_dead_legs(loop), *_undriven(loop), *_apart(loop), *_doubtful(loop)]
    moving = [block for block, moves in loop.blocks if moves is not False]
    whole = [i for block in moving for i in block]
    backs = [_turned(loop, block) for block in moving]
    arrows = [f for block, back in zip(moving, backs, strict=True) for f in _arrows(loop, block, back)]
    found += arrows
    if not arrows and not loop.unclear(whole):
        found += [f for group in parts_apart(loop.net, whole) for f in _branches(loop, group)]
    if len(whole) == len(loop.net.pipes) and not any(f.verdict in ("fail", "unknown") for f in found):
        found += [_circuit(loop, group) for group in parts_apart(loop.net, whole)]
    return found, frozenset(i for back in backs for i in back)


def _closes(loop: Loop, block: list[int]) -> bool:
    """Whether a block is a way round, however short, rather than a single pipe between two ways."""
    return len(block) > 1 or len(set(loop.net.ends(block[0]))) == 1


def _dead_legs(loop: Loop) -> list[Finding]:
    legs = [block[0] for block, _ in loop.blocks if not _closes(loop, block)]
    return [_dead_leg(loop, group) for group in parts_apart(loop.net, legs)]


def _dead_leg(loop: Loop, legs: list[int]) -> Finding:
    net, stops, remedies = loop.net, [], []
    for way in dict.fromkeys(w for i in legs for w in net.ends(i)):
        if len(net.at[way]) > 1:
            continue
        pipe = net.at[way][0]
        arrives = net.ends(pipe)[1] == way
        port = ports_at(net.pipes[pipe])[1 if arrives else 0]
        spare = loop.spare(port)
        stops.append(f"no run leaves {net.ways[way]} again" if arrives else f"no run leads to {net.ways[way]}")
        if spare:
            remedies.append(f"lead a run {'on from' if arrives else 'to'} {listed(spare, 'or')}")
        else:
            remedies.append(f"{port} is joined to no other free port inside {port.piece}; use one that is")
    why = "; ".join(stops) or "no other run leads back from one side to the other"
    text = f"nothing flows through {loop.names(legs)}: {why}"
    ports = loop.ports(legs)
    return loop.finding("fail", pieces(ports), text, f"dead-leg {loop.names(legs)}", ports, remedies)


def _undriven(loop: Loop) -> list[Finding]:
    """Ways round that no pump drives: a short way back into one waterway, or the whole loop."""
    net = loop.net
    idle = [i for block, moves in loop.blocks if moves is False and _closes(loop, block) for i in block]
    moving = {w for block, moves in loop.blocks if moves is not False for i in block for w in net.ends(i)}
    found = [_idle(loop, group, moving) for group in parts_apart(net, idle)]
    ways = [net.ways[k] for k in net.at]
    shapes = [str(w) for w in ways if w.may_pump]
    if not found and not shapes and not any(w.pumped for w in ways):
        ports = loop.ports(range(len(net.pipes)))
        found.append(
            loop.finding("fail", pieces(ports), "there is no pump in the loop", "no-pump", ports, [_THROUGH_A_PUMP])
        )
    elif shapes and not any(w.pumped for w in ways):
        text = f"no part of the loop is written as a pump; {listed(shapes, 'or')} may be one"
        found.append(loop.finding("caution", shapes, text, "pump-unsure"))
    return found


_THROUGH_A_PUMP = "lead the loop through a pump, from its out to its in"


def _idle(loop: Loop, group: list[int], moving: set[int]) -> Finding:
    net, names, ports = loop.net, loop.names(group), loop.ports(group)
    ways = list(dict.fromkeys(w for i in group for w in net.ends(i)))
    shared = [str(net.ways[w]) for w in ways if w in moving]
    pumped = [str(net.ways[w]) for w in ways if net.ways[w].pumped]
    if shared:
        text = f"nothing drives coolant through {names}: both ends open into one waterway of {shared[0]}"
        remedies = [f"lead it through the loop in series, or between two waterways of {shared[0]}"]
    elif pumped:
        text = f"nothing drives coolant through {names}: no run leaves {pumped[0]} by its out and comes back by its in"
        remedies = [_THROUGH_A_PUMP]
    else:
        text = f"there is no pump on the way round {names}: nothing moves the coolant"
        remedies = [_THROUGH_A_PUMP]
    return loop.finding("fail", pieces(ports), text, f"no-pump {names}", ports, remedies)


def _apart(loop: Loop) -> list[Finding]:
    """A finding where the runs make circuits that share no coolant; what is no way round at all is a dead leg."""
    net = loop.net
    closing = {i for block, _ in loop.blocks if _closes(loop, block) for i in block}
    groups = [g for g in parts_apart(net, range(len(net.pipes))) if set(g) & closing]
    if len(groups) < 2:
        return []
    moved = {i for block, moves in loop.blocks if moves is not False for i in block}
    idle = [g for g in groups if not set(g) & moved]
    told = "; ".join(listed(pieces(loop.ports(g))) for g in groups)
    text = f"the runs make {len(groups)} circuits that share no coolant: {told}"
    if idle:
        text += f"; nothing moves the coolant in that of {listed(pieces(loop.ports(idle[0])))}"
        remedies = ["join them into one circuit, or give each its own pump"]
    else:
        text += "; each has its own pump, and each needs its own filling and draining"
        remedies = ["join them into one circuit, if one was meant"]
    verdict: Verdict = "fail" if idle else "caution"
    every = pieces(loop.ports(range(len(net.pipes))))
    return [loop.finding(verdict, every, text, "apart", (), remedies, len(groups), "circuits", 1)]


def _doubtful(loop: Loop) -> list[Finding]:
    """Parts that do not state how three or more used ports of theirs are joined."""
    net, found = loop.net, []
    for way in filter(loop.vague, net.at):
        used = [p for p in dict.fromkeys(loop.ports(net.at[way])) if net.way_of[p] == way]
        name = next(p.piece for p in used if not loop.layout.piece(p.piece).part.waterways_known())
        text = (
            f"the way round cannot be followed through {name}: it does not state which of {listed(used)} are joined "
            "inside; all are taken as joined"
        )
        stated = loop.layout.piece(name).part.states_channels
        remedies = [f"state the channels of {name}"] if stated else [f"make {name} of one part for each waterway"]
        found.append(loop.finding("unknown", [name], text, "inside", used, remedies))
    return found


def _turned(loop: Loop, block: list[int]) -> list[int]:
    """Pipes of a ring that run against it: against the pump where it is marked, else against the most of them."""
    if loop.unclear(block) or not is_ring(loop.net, block):
        return []
    trip = round_trip(loop.net, block, loop.first(block))
    back = [i for i, along in trip if not along]
    if not loop.pushed(block) and len(back) > len(block) - len(back):
        back = [i for i, along in trip if along]
    return sorted(back)


def _arrows(loop: Loop, block: list[int], back: list[int]) -> list[Finding]:
    """A finding where the arrows of a block do not go round.

    Arrows that all go the wrong way do go round: that is told by the pump's marks.
    """
    net, wrong = loop.net, back if len(back) < len(block) else []
    if wrong:
        text = f"the arrows do not go round: {loop.names(wrong)} {are(wrong)} drawn against the others"
        ways = [f"{b} -> {a}" for a, b in (ports_at(net.pipes[i]) for i in wrong)]
        remedies = [f"turn {them(wrong)} round: {', '.join(ways)}"]
    else:
        wrong = against_all(net, block)
        text = f"the arrows do not go round: no way that follows them comes back to {loop.names(wrong)}"
        remedies = ["turn the arrow of a run at a part where all lead in, or all lead out"]
    if not wrong:
        return []
    ports = loop.ports(wrong)
    return [loop.finding("fail", pieces(ports), text, f"arrows {loop.names(wrong)}", ports, remedies)]


def _branches(loop: Loop, pipes: list[int]) -> list[Finding]:
    """A finding for each waterway at which the flow divides."""
    by_fork: dict[int, list[Branch]] = {}
    for branch in branches(loop.net, pipes):
        by_fork.setdefault(branch.start, []).append(branch)
    return [_fork(loop, fork, ways) for fork, ways in by_fork.items()]


def _fork(loop: Loop, fork: int, ways: list[Branch]) -> Finding:
    net, told, firsts = loop.net, [], []
    for branch in ways:
        over = [str(net.ways[net.ends(i)[1]]) for i in branch.pipes[:-1]]
        first, last = ports_at(net.pipes[branch.pipes[0]])[0], ports_at(net.pipes[branch.pipes[-1]])[1]
        told.append(f"from {first} {'through ' + listed(over) + ' ' if over else 'straight '}to {last}")
        firsts.append(first)
    text = (
        f"the flow divides at {net.ways[fork]} into {len(ways)} parallel branches: {'; '.join(told)}. "
        "The one of least resistance takes most; the shares are not known"
    )
    parts = pieces(loop.ports(i for b in ways for i in b.pipes))
    remedies = ["lead the loop through them in series"]
    place = f"branches {' '.join(p.frame for p in firsts)}"
    return loop.finding("caution", parts, text, place, firsts, remedies, len(ways), "branches", 1)


def _circuit(loop: Loop, group: list[int]) -> Finding:
    """The way round told in order, from the pump's outlet; of one that divides, in the runs' order."""
    net, ring = loop.net, is_ring(loop.net, group)
    trip = [i for i, _ in round_trip(net, group, loop.first(group))] if ring else group
    ports = loop.ports(trip)
    text = f"the coolant goes round in one circuit{'' if ring else ' that divides'}: {loop.names(trip)}"
    order = (("order", [net.pipes[i].name for i in trip]),)
    place = "circuit " + net.pipes[trip[0]].name
    return loop.finding("pass", pieces(ports), text, place, (), (), len(trip), "runs", None, order)
