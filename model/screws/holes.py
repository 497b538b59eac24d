"""Do screws find their holes - holes in line, holes over slots, walls still to be drilled?

Owns the verdict on every piece that a joint's screws pass: how many of them can, by how much the others miss, the best
slide and what it gains, and whether the screws that remain hold the part.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from elbowroom.model.layout.layout import Layout
from elbowroom.model.screws.drilling import drill_size
from elbowroom.model.screws.fasten import Fastened
from elbowroom.model.screws.holding import holding
from elbowroom.model.screws.joints import PASSES, Fit, Joint
from elbowroom.model.screws.lines import Axis
from elbowroom.model.screws.remedies import Remedies
from elbowroom.model.screws.slides import held_by
from elbowroom.model.screws.whereabouts import which
from elbowroom.model.told.cautions import AT_THE_SHEET
from elbowroom.model.told.findings import Basis, Finding, Point, Verdict
from elbowroom.model.told.wordings import assumed_by, mm
from elbowroom.parts.vocabulary.pose import apply, compose

LEAVE = "if it is held another way, name the joint under screws: no_screws"


def check(fastened: Fastened, mended: Remedies) -> list[Finding]:
    """The findings of all joints. mended: what would mend them, tried."""
    boards = {p.name for p in fastened.layout.pieces if p.part.family == "motherboard"}
    found = []
    for joint in fastened.joints:
        found += [_fit(joint, fit, mended, fastened.layout) for fit in joint.fits]
        found += [_hanging(joint, fit) for fit in joint.fits if fit.piece.name in boards and _unmet(fit, joint)]
        found += _blocked(joint, boards, fastened, mended)
        found += _drilled(joint, fastened.undrilled)
    return found + [_left(joint) for joint in fastened.left]


def _left(joint: Joint) -> Finding:
    """A joint the build leaves without screws: nothing here judges what holds it."""
    axis = joint.axes[0]
    names = dict.fromkeys([axis.piece.name, *(p.piece.name for p in axis.passed)])
    text = f"{joint.name}: its {len(joint.axes)} screws are left out, as the build says; what holds it is not judged"
    return Finding(
        "screw", "caution", tuple(names), text, where=(_point(axis),), basis=Basis("none"),
        extra=(("joint", joint.name), ("count", 0), ("word", "left out"), ("pierces", False)), place=joint.name,
    )  # fmt: skip


def _unmet(fit: Fit, joint: Joint) -> list[int]:
    """Holes of a pattern that no screw of the joint goes through."""
    met = {p.hole for i in fit.rows for p in joint.axes[i].passed if p.piece is fit.piece}
    return [k for k in range(len(fit.pattern.holes)) if k not in met]


def _hanging(joint: Joint, fit: Fit) -> Finding:
    """A board with holes over nothing: it bends there when a plug or a card is pushed in."""
    holes, bare = fit.pattern.holes, _unmet(fit, joint)
    held = holding([(h.x, h.y) for h in holes], [k for k in range(len(holes)) if k not in bare])
    at = compose(fit.piece.pose, fit.pattern.pose)
    text = f"{joint.name}: {len(bare)} of {len(holes)} holes of {fit.piece.name} have nothing under them; {held.rest}"
    where = tuple(_tuple(apply(at, (holes[k].x, holes[k].y, 0.0))) for k in bare)
    return Finding(
        "hole-alignment", "caution" if held.verdict == "holds" else "fail",
        (joint.axes[0].piece.name, fit.piece.name), text, where=where, basis=Basis("arithmetic"),
        remedies=("set standoffs under them",),
        extra=(("joint", joint.name), ("holes", len(holes)), ("unmet", len(bare))), place=f"{joint.name}-unmet",
    )  # fmt: skip


def _tuple(p: Any) -> Point:
    return (float(p[0]), float(p[1]), float(p[2]))


def _fit(joint: Joint, fit: Fit, mended: Remedies, layout: Layout) -> Finding:
    n, missed = len(fit.rows), [k for k, off in enumerate(fit.off) if off > PASSES]
    worst = max(fit.off)
    names = f"{joint.name} through {fit.piece.name}"
    where = tuple(_point(joint.axes[fit.rows[k]]) for k in (missed or [fit.off.index(worst)])[:2])
    extra: tuple[tuple[str, object], ...] = (
        ("joint", joint.name), ("holes", n), ("passing", n - len(missed)), ("off_mm", [round(o, 4) for o in fit.off]),
    )  # fmt: skip
    pieces = (joint.axes[0].piece, fit.piece)
    common = {
        "bodies": (), "measured": -worst, "unit": "mm", "required": 0.0, "low": -worst, "high": -worst, "where": where,
        "basis": Basis("arithmetic", 0.0, tuple(a for p in pieces for a in assumed_by(p))),
        "place": f"{joint.name}-{fit.pattern.name}",
    }  # fmt: skip
    parts = tuple(dict.fromkeys(p.name for p in pieces))
    if not missed:
        count = "its screw passes" if n == 1 else f"all {n} screws pass"
        text = f"{names}: {count}, the tightest with {mm(-worst)} to spare on its side"
        return Finding("hole-alignment", "pass", parts, text, extra=extra, **common)  # type: ignore[arg-type]
    slide = fit.slide
    kept = [k for k in range(n) if k not in missed]
    held = held_by(joint, fit, kept)
    few = which([_point(joint.axes[i]) for i in fit.rows], missed, layout)
    count = f"{len(missed)} of {n} screws do not pass" if n > 1 else "its screw does not pass"
    text = f"{names}: {count}{few and f' ({few})'}; {'the worst' if len(missed) > 1 else 'it'} misses by {mm(worst)}"
    if n > 1:
        text += f"; {held.rest}"
    place = (joint.name, fit.piece.name, fit.pattern.name)
    better = place in mended.slides
    extra += (
        ("slide_mm", [round(slide.dx, 4), round(slide.dy, 4)]), ("passing_slid", len(slide.passing)),
        ("lost", [fit.rows[k] + 1 for k in missed]), ("holds", held.verdict),
    )  # fmt: skip
    # Where a slide brings more screws in, the part does not stand where it should, whatever holds it now.
    verdict: Verdict = "caution" if held.verdict == "holds" and not better else "fail"
    return Finding(
        "hole-alignment",
        verdict,
        parts,
        text,
        remedies=mended.holes.get(place, ()),
        extra=extra,
        **common,  # type: ignore[arg-type]
    )


def _local(axis: Axis) -> tuple[float, float]:
    return (axis.receiver.x, axis.receiver.y)


def _blocked(joint: Joint, boards: set[str], fastened: Fastened, mended: Remedies) -> list[Finding]:
    by_piece: dict[str, list[int]] = {}
    for i, name in joint.blocked.items():
        by_piece.setdefault(name, []).append(i)
    out = []
    for name, rows in by_piece.items():
        kept = [i for i in range(len(joint.axes)) if i not in joint.blocked]
        held = holding([_local(a) for a in joint.axes], kept)
        few = which([_point(a) for a in joint.axes], rows, fastened.layout)
        text = f"{joint.name}: {name} has no hole where {len(rows)} of {len(joint.axes)} screws go through"
        text += f"{few and f' ({few})'}; {held.rest}"
        drill = mended.drills.get((joint.name, name))
        remedies: tuple[str, ...] = (LEAVE,) if drill is None else (drill, LEAVE)
        verdict: Verdict = "caution" if held.verdict == "holds" else "fail"
        if fastened.layout.piece(name).part.family == "adapter" and held.verdict == "holds":
            # A plate is made for the screws it has holes for: the others of the part are not meant to be used.
            text = f"{joint.name}: {name} covers {len(rows)} of {len(joint.axes)} screw holes, as made; {held.rest}"
            remedies, verdict = (), "pass"
        if name in boards:
            # Common practice, no source: a standoff where the board has no hole stands against its tracks.
            text += f"; a standoff without a hole over it shorts the board: take {len(rows)} out"
            remedies, verdict = (f"take out the standoffs under {name} that meet no hole",), "fail"
        out.append(
            Finding(
                "hole-alignment", verdict, (joint.axes[0].piece.name, name), text,
                where=tuple(_point(joint.axes[i]) for i in rows), basis=Basis("arithmetic"), remedies=remedies,
                extra=(("joint", joint.name), ("holes", len(joint.axes)), ("passing", len(kept))),
                place=f"{joint.name}-closed",
            )
        )  # fmt: skip
    return out


def _drilled(joint: Joint, undrilled: Mapping[tuple[str, int], str]) -> list[Finding]:
    walls: dict[str, list[int]] = {}
    for i in joint.drilled:
        wall = next(p for p in joint.axes[i].passed if p.pattern is None)
        walls.setdefault(wall.piece.name, []).append(i)
    out = []
    for name, rows in walls.items():
        bad = [i for i in rows if (joint.name, i) in undrilled]
        text = (
            f"{joint.name}: {name} has no holes there: {len(rows)} to drill, {drill_size(joint):g} mm (see templates)"
        )
        if bad:
            text = (
                f"{joint.name}: {len(bad)} of {len(rows)} holes cannot be drilled: one {undrilled[joint.name, bad[0]]}"
            )
        out.append(
            Finding(
                "hole-alignment", "fail" if bad else "caution", (joint.axes[0].piece.name, name), text,
                where=tuple(_wall(joint.axes[i]) for i in (bad or rows)[:4]), basis=Basis("arithmetic"),
                extra=(
                    ("joint", joint.name), ("holes", len(rows)), ("to_drill", len(rows) - len(bad)),
                    *((("take_care", list(AT_THE_SHEET)),) if len(bad) < len(rows) else ()),
                ),
                place=f"{joint.name}-drill",
            )
        )  # fmt: skip
    return out


def _wall(axis: Axis) -> Point:
    """Where an axis enters the wall that is to be drilled."""
    return next(p.near for p in axis.passed if p.pattern is None)


def _point(axis: Axis) -> Point:
    return axis.origin
