"""How much air goes through: in against out, and whether it carries the heat.

Owns the sums of what fans are said to move, and what those mean for dust and for heat. What a fan moves with nothing in
its way is the most that it ever moves; how much a radiator or a filter takes of it is a rule of thumb and told as one.
Where fans have no figure, amounts are unknown, but for fans that are all alike, which are counted.
"""

from __future__ import annotations

from collections.abc import Sequence

from elbowroom.model.build.air_spec import AirSpec
from elbowroom.model.checks.air_told import called, filtered, short
from elbowroom.model.checks.airflow import Blown, Moved, free_flow, moved, openings
from elbowroom.model.checks.loop_terms import listed
from elbowroom.model.layout.layout import Layout
from elbowroom.model.told.findings import Basis, Finding, Verdict, rounded
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.vocabulary.measure import M3h

DENSITY = 1.2046  # kg/m3, of dry air at 20 degC and 101325 Pa (V: the package CoolProp)
HEAT_CAPACITY = 1006.0  # J/(kg K), of the same (V: CoolProp)
EVEN = 0.1  # of the larger sum: less of a difference is none; common practice, no source (P)
LEFT = (1 / 3, 2 / 3)  # of its free flow that a fan moves through radiator, filter and grille; common practice (P)
CFM = M3h.UNITS["CFM"]


def needed(heat: float, rise: float) -> float:
    """Air that carries so many watts at so many kelvins of rise, m3/h: heat = density x capacity x flow x rise."""
    return heat / (DENSITY * HEAT_CAPACITY * rise) * 3600


def amounts(layout: Layout, every: Sequence[Blown], spec: AirSpec) -> list[Finding]:
    """Findings on in against out, and on the heat where the build states it."""
    into, out = (moved([f for f in every if f.opening and f.inward == way], every) for way in (1, -1))
    if not into.fans and not out.fans:
        return []
    found = [_balance(layout, every, into, out)] if into.fans and out.fans and _countable(into, out) else []
    return [*found, *([_heat(spec.heat, spec.rise, into, out)] if spec.heat is not None else [])]


def said(flow: float) -> str:
    """A flow for a sentence, in both units that are sold by."""
    return f"{flow:.0f} m3/h ({flow / CFM:.0f} CFM)"


def _alike(into: Moved, out: Moved) -> bool:
    """Whether all fans are of one size and none has a figure, so that they can be counted."""
    both = (*into.fans, *out.fans)
    sizes = {(float(p.size), float(p.depth)) for p in (f.piece.part for f in both) if isinstance(p, Fan)}
    return len(sizes) == 1 and all(free_flow(f) is None for f in both)


def _countable(into: Moved, out: Moved) -> bool:
    """Whether the build says anything to sum up: what nobody gave a figure for is no open question."""
    return _alike(into, out) or any(free_flow(f) is not None for f in (*into.fans, *out.fans))


def _balance(layout: Layout, every: Sequence[Blown], into: Moved, out: Moved) -> Finding:
    parts = tuple(dict.fromkeys(f.name for f in (*into.fans, *out.fans)))
    where = tuple(f.middle for f in (*into.fans, *out.fans))
    if _alike(into, out):
        a, b = float(len(into.fans)), float(len(out.fans))
        told = f"{_fans(into)} in and {_fans(out)} out, all of one size and taken as alike"
    elif into.flow is None or out.flow is None:
        without = [f for f in (*into.fans, *out.fans) if free_flow(f) is None]
        return Finding(
            "air", "unknown", parts,
            f"whether more air goes in or out cannot be said: no free_flow of {called(without)}",
            where=where, basis=Basis("none"), place="balance",
            remedies=(f"state the free_flow of {called(without)}, as the maker gives it",),
        )  # fmt: skip
    else:
        a, b = into.flow, out.flow
        told = f"in {said(a)}, out {said(b)}, as the makers state it with nothing in the way"
    bare = [short(n) for n in openings(layout) if not any(f.opening == n for f in every)]
    dusty = list(dict.fromkeys(short(f.opening) for f in every if f.inward > 0 and f.opening and not filtered(f)))
    verdict: Verdict = "pass"
    remedies: tuple[str, ...] = ()
    if abs(a - b) <= EVEN * max(a, b):
        text = f"{told}: about as much in as out"
    elif a > b:
        text = f"{told}: more in than out, and the rest leaves by slots and gaps"
    else:
        verdict = "caution"
        ways = listed([*bare, "slots and gaps"])
        text = f"{told}: more out than in (negative pressure), so the rest comes in, with its dust, by {ways}"
        remedies = ("let fewer fans blow out or more blow in, with dust filters before those",)
    if dusty:
        text += f"; no dust filter where air goes in at {listed(dusty)}"
    elif verdict == "pass":
        text += "; air goes in through dust filters"
    extra = (
        ("in", rounded(into.flow)), ("out", rounded(out.flow)), ("unit", "m3/h"),
        ("unfiltered", dusty), ("without_fan", bare),
    )  # fmt: skip
    return Finding(
        "air", verdict, parts, text, where=where, basis=Basis("arithmetic"), extra=extra, remedies=remedies,
        place="balance",
    )  # fmt: skip


def _fans(one: Moved) -> str:
    return f"{len(one.fans)} fan{'' if len(one.fans) == 1 else 's'}"


def _heat(heat: float, rise: float, into: Moved, out: Moved) -> Finding:
    asked = needed(heat, rise)
    parts = tuple(dict.fromkeys(f.name for f in (*into.fans, *out.fans)))
    told = f"{heat:g} W with air that leaves {rise:g} degrees warmer ask for {said(asked)}"
    known = [s.flow for s in (into, out) if s.fans]
    extra: tuple[tuple[str, object], ...] = (("heat_w", float(heat)), ("rise_k", rise))
    if None in known:
        without = called([f for s in (into, out) for f in s.fans if free_flow(f) is None])
        return Finding(
            "air", "unknown", parts, f"{told}; whether the fans move it cannot be said: no free_flow of {without}",
            required=rounded(asked), unit="m3/h", basis=Basis("none"), place="heat", extra=extra,
            remedies=(f"state the free_flow of {without}, as the maker gives it",),
        )  # fmt: skip
    most = max(v for v in known if v is not None)
    low, high = (share * most for share in LEFT)
    text = (
        f"{told}; the fans move at most {said(most)} with nothing in the way, through radiators, filters and grilles "
        f"some {low:.0f} to {high:.0f} m3/h (rule of thumb)"
    )
    verdict: Verdict = "pass" if asked <= low else "caution" if asked <= most else "fail"
    if verdict == "fail":
        text += f": it leaves at least {needed(heat, 1.0) / most:.0f} degrees warmer"
    elif verdict == "caution":
        text += ": that may be too little"
    remedies = () if verdict == "pass" else ("more fans at openings, or stronger ones; or a larger rise",)
    return Finding(
        "air", verdict, parts, text, measured=rounded(most), required=rounded(asked), unit="m3/h",
        basis=Basis("arithmetic"), place="heat", extra=extra, remedies=remedies,
    )  # fmt: skip
