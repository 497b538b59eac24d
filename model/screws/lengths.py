"""What does each screw do - too short, safe, close to the end of its room, bottoming, or into the fins?

Owns the verdict on the screws of every joint, with the layers under the head, the engagement and the tip as intervals,
what lengths are safe and which to buy; threads that look alike and do not fit; and heads that bear on nothing. Whether
a driver gets to them is `drivers`' question.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from elbowroom.model.screws.bearing import Bearing
from elbowroom.model.screws.choosing import PILE, Chosen
from elbowroom.model.screws.lines import Axis
from elbowroom.model.screws.stack import CLEAR, Judged, Layer, judge, washer_layer, window
from elbowroom.model.told.findings import Basis, Finding, Verdict
from elbowroom.model.told.wordings import assumed_by, mm, tenths
from elbowroom.parts.screw.screw_tables import head, length_tolerance, look_alikes, nut, washer
from elbowroom.parts.vocabulary.threads import THREADS

# What each word of the arithmetic means for the build.
_VERDICTS: dict[str, Verdict] = {
    "pierces": "fail", "bottoms": "fail", "short": "fail", "close": "tight", "safe": "pass",
}  # fmt: skip
NOT_BORNE = "no bearing"  # the word for a screw of a safe length whose head nothing is under


def check(chosen: Sequence[Chosen], mended: Mapping[Chosen, tuple[str, ...]] = MappingProxyType({})) -> list[Finding]:
    """A finding for the screws of each joint that are alike. mended: what would mend those that are not safe, tried."""
    found = []
    numbers: dict[str, int] = {}
    for c in chosen:
        numbers[c.joint.name] = numbers.get(c.joint.name, 0) + 1
        found.append(_screw(c, numbers[c.joint.name], mended.get(c, ())))
    return found


def _screw(c: Chosen, number: int, remedies: tuple[str, ...]) -> Finding:
    axis = c.joint.axes[c.rows[0]]
    pieces = c.pieces
    place = c.joint.name if number == 1 else f"{c.joint.name}-{number}"
    extra: list[tuple[str, Any]] = [
        ("screw", c.label),
        ("head", c.head),
    ]
    extra.append(("layers", [{"name": x.name, "mm": x.thickness} for x in c.layers]))
    common: dict[str, Any] = {
        "where": (axis.origin, _tip(axis, c)),
        "basis": Basis("arithmetic", 0.0, tuple(a for p in pieces for a in assumed_by(p))),
        "place": place,
        "about": c.joint.about(len(c.rows)),
    }
    names = tuple(dict.fromkeys(p.name for p in pieces))

    def told(verdict: Verdict, text: str, word: str, remedies: tuple[str, ...] = (), **numbers: Any) -> Finding:
        # What the word says is said once more as yes or no, for those who look for the worst.
        more = (*extra, ("word", word), ("pierces", word == "pierces"))
        return Finding("screw", verdict, names, text, remedies=remedies, extra=more, **common, **numbers)

    hole = c.joint.thread
    if c.thread != hole and not (c.joint.ends == "nut" and THREADS[c.thread].major <= c.joint.diameter):
        alike = dict(look_alikes(hole)).get(c.thread, "it does not fit")
        text = f"{c.joint.name}: the holes are {hole}, the screw is {c.label}; {alike}"
        return told("fail", text, "wrong thread", (f"use {hole} screws",))
    if c.why:
        return told("unknown", f"{c.joint.name}: {c.why}", "unknown")
    through = _through(c.layers)
    extra += _safe(c)
    if c.judged is None:
        assert c.choice is not None
        text = f"{c.joint.name}: no screw through {through}: {c.choice.reason}"
        return told("fail", text, "none safe", remedies)
    j = c.judged
    extra += [("engagement_mm", _span(j.engagement)), ("tip_mm", _span(j.tip)), ("tip_rss_mm", _span(j.tip_rss))]
    way = {"nut": "with a nut, at", "stud": "stud of"}.get(c.joint.ends, "into")
    count = f"{len(c.rows)} x {c.label}{_washers(c)}" if c.joint.ends != "stud" else f"{c.thread} x {c.length:g}"
    verdict, text = _VERDICTS[j.verdict], f"{count} {way} {c.joint.name} {_does(c, j)}"
    if c.bears is not None:
        extra.append(("bears", {"share": round(c.bears.share, 4), "overlap_mm": round(c.bears.overlap, 4)}))
    if c.layers:
        text += f"; through {through}"
    word: str = j.verdict
    if c.stated is None and c.washers > PILE:
        text += f"; {c.washers} washers: take another length or a spacer"
        verdict = "caution" if verdict == "pass" else verdict
    if c.bears is not None and not c.bears.enough:
        text += f"; {_stands(c, c.bears)}"
        if not c.bears.borne:
            verdict, word = "fail", NOT_BORNE if word == "safe" else word
        elif not c.washers and any("washer" in r for r in remedies):
            text += ": put a washer under it"
        verdict = "caution" if verdict == "pass" else verdict
    numbers = _numbers(c, j)
    return told(verdict, text, word, () if verdict == "pass" else remedies, **numbers)


def _stands(c: Chosen, bears: Bearing) -> str:
    """How poorly a head or washer stands, in words."""
    what, wide = ("washer", washer(c.thread).outer) if c.washers else ("head", head(c.head, c.thread).diameter)
    if bears.through:
        return f"the {what} of {wide:g} mm falls through its hole"
    if not bears.borne:
        return f"the {what} of {wide:g} mm has metal under it on one side only ({bears.share:.0%} of its ring) and tips"
    return f"the {what} of {wide:g} mm has only {bears.share:.0%} of its ring on metal"


def _safe(c: Chosen) -> list[tuple[str, Any]]:
    """What would be safe with the washers under the head - the fewest asked for, where there is no screw yet - and what
    to buy with which washers.
    """
    if c.choice is None or c.receiver is None:
        return []
    washers = c.choice.washers if c.length is None else c.washers
    under = [*c.layers, *([washer_layer(c.thread)] * washers)]
    room = window(under, c.receiver)
    if washers == c.choice.washers:
        safe = [j.length for j in c.choice.safe]  # the best first
    else:
        lengths = [j.length for j in c.choice.tried]
        safe = [n for n in lengths if judge(n, length_tolerance(c.thread, n), under, c.receiver).verdict == "safe"]
    best = c.choice.best if c.bears is None or c.bears.borne else None  # no length helps a head that stands on nothing
    return [
        ("safe_from", round(room.lo, 3)),
        ("safe_to", None if room.hi is None else round(room.hi, 3)),
        ("safe_lengths", safe),
        ("washers", washers),
        ("buy", None if best is None else best.name),
        ("buy_washers", None if best is None else c.choice.washers),
    ]


def _numbers(c: Chosen, j: Judged) -> dict[str, Any]:
    """The measured number: mm left before the end of the room where that decides, else the engagement."""
    if j.margin is not None and j.verdict in ("pierces", "bottoms", "close"):
        return {"measured": j.margin.nominal, "required": CLEAR, "low": j.margin.low, "high": j.margin.high}
    e = j.engagement
    return {"measured": e.nominal, "required": j.wanted, "low": e.low, "high": e.high}


def _does(c: Chosen, j: Judged) -> str:
    """What the screw does, in tenths of a millimetre, finer only where its verdict hangs on less."""
    end = (c.receiver.stop if c.receiver is not None else None) or "bottom of the hole"
    e, worst = j.engagement, "" if j.margin is None else tenths(abs(j.margin.low), CLEAR)
    if j.verdict == "pierces":
        how = f"{tenths(-j.margin.nominal)} into" if j.margin is not None and j.margin.nominal < 0 else "at worst into"
        return f"goes {how} the {end}: the tip is {tenths(j.tip.nominal)} past the face (at worst {worst} too far)"
    if j.verdict == "bottoms":
        return f"bottoms out before it clamps (at worst {worst} too long)"
    if j.verdict == "short":
        wanted = f"{mm(j.wanted)} wanted ({j.wanted_why})"
        return f"is too short: {tenths(e.nominal, j.wanted)} of thread, {tenths(e.low, j.wanted)} at worst; {wanted}"
    if j.verdict == "close":
        assert j.margin is not None
        return f"ends {tenths(j.margin.nominal, CLEAR)} before the {end} ({worst} at worst); {CLEAR:g} mm is wanted"
    if c.joint.ends == "nut" or (c.joint.ends == "stud" and j.margin is None):
        high = nut(c.thread).height
        return f"stands {tenths(j.tip.nominal - high)} out of its nut ({tenths(j.tip.low - high)} at worst)"
    left = "" if j.margin is None else f", {tenths(j.margin.nominal, CLEAR)} before the {end} ({worst} at worst)"
    return f"holds by {tenths(e.nominal, j.wanted)} of thread ({tenths(e.low, j.wanted)} at worst){left}"


def _through(layers: Sequence[Layer]) -> str:
    """The layers from the receiving face outward, and their sum."""
    if not layers:
        return "nothing"
    told = ", ".join(f"{x.name} {round(x.thickness, 2):g}" for x in layers)
    return f"{told} = {round(sum(x.thickness for x in layers), 2):g} mm" if len(layers) > 1 else f"{told} mm"


def _washers(c: Chosen) -> str:
    return "" if not c.washers else f" with {c.washers} washer{'s' * (c.washers > 1)}"


def _span(span: Any) -> list[float]:
    return [round(float(v), 4) for v in (span.low, span.nominal, span.high)]


def _tip(axis: Axis, c: Chosen) -> tuple[float, float, float]:
    tip = 0.0 if c.judged is None else c.judged.tip.nominal
    p = axis.point(-tip)
    return (float(p[0]), float(p[1]), float(p[2]))
