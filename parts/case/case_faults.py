"""What is wrong with a case by itself: cuts that meet or leave their panel, fittings that overlap or stand out.

Owns the rules between the cuts of one face - wholly inside it, a little sheet left between them - and between the
fittings, each broken one a `Fault`, told as a finding with its place. The case is drawn all the same, its cuts run
together. Cut-outs still to be made may take in what is cut there already, but not what a fan, the board's connectors or
a power supply needs its sheet for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from elbowroom.parts.case import case_holes
from elbowroom.parts.case.case_fittings import TAIL_RELIEF
from elbowroom.parts.case.case_openings import AXIS_WALLS, EXACT, FACES, LEAST_WEB, Cut, Face, Rect, Spread, cut_called
from elbowroom.parts.vocabulary.base import Fault

if TYPE_CHECKING:
    from elbowroom.parts.case.case import Case

SLOT_FIELD = ("rear-slot", "bracket slit", "upright")  # names of cuts that an upright mount may take the place of


def faults(case: Case) -> tuple[Fault, ...]:
    """Everything that is wrong, face by face."""
    out: list[Fault] = []
    for face in FACES:
        out += _on_face(case, face)
    out += [Fault(text, at=_at(case, h.face, *h.centre(size)), place=text.split(" ", 3)[1])
            for h, text in case_holes.faults(case) if (size := case_holes.sheet_size(case, h.face))]  # fmt: skip
    out += _fittings(case)
    out += [Fault(text, "caution", place=f"note-{i}") for i, text in enumerate(case.notes, 1)]
    return tuple(out)


def extent(cuts: list[Cut]) -> Rect:
    """The rectangle round some cuts of one face."""
    whole = cuts[0].rect
    for c in cuts[1:]:
        whole = whole.joined(c.rect)
    return whole


def _at(case: Case, face: str, u: float, v: float) -> tuple[float, float, float]:
    if face == "shroud":
        top = float(case.psu_shroud.height) if case.psu_shroud else 0.0
        return u, v, top
    return case.face_point(face, u, v)


def _middle(case: Case, face: str, r: Rect) -> tuple[float, float, float]:
    return _at(case, face, (r.u0 + r.u1) / 2, (r.v0 + r.v1) / 2)


def _on_face(case: Case, face: Face) -> list[Fault]:
    size, mine = case.face_size(face), {n: o for n, o in case.openings.items() if o.face == face}
    out: list[Fault] = []
    cuts: dict[str, Rect] = {}
    rows: dict[str, Rect] = {}
    for name, o in mine.items():
        own, row = o.cut_extent(size), o.footprint(size)
        cuts[f"opening {name}"], rows[f"openings {name}"] = own, row
        at = _middle(case, face, row)
        out += [Fault(f"opening {name}: {said}", over=by, at=at, place=f"{name}-itself-{i}")
                for i, (said, by) in enumerate(o.faults())]  # fmt: skip
        leaves = dict(row.sticks_out(size, face))
        out += [Fault(f"opening {name} leaves the {face} by {by:.2f} mm at the {wall}", over=by, at=at,
                      place=f"{name}-{wall}") for wall, by in leaves.items()]  # fmt: skip
        for wall, by in own.sticks_out(size, face, LEAST_WEB):
            if wall not in leaves:
                text = f"slots of opening {name} are {by:.2f} mm too near the {wall} edge of the {face}"
                out.append(Fault(text, over=by, at=at, place=f"{name}-{wall}"))
    beside = _conflicts(case, face, rows, 0.0)
    for name, group in case.fixed_cuts(face).items():
        cuts[name] = extent(group)
        out += [Fault(f"{cut_called(name)} leaves the {face} by {by:.2f} mm at the {wall}", over=by,
                      at=_middle(case, face, cuts[name]), place=f"{name}-{wall}")
                for wall, by in cuts[name].sticks_out(size, face, LEAST_WEB)]  # fmt: skip
    cuts.update(case.solid_spots(face))
    out += beside or _conflicts(case, face, cuts, LEAST_WEB)
    if out and (n := parts_left(case, face)) != 1:
        left = f"part it into {n} pieces" if n else "leave nothing of it"
        out.append(Fault(f"the cuts in the {face} {left}; the largest is drawn", place=f"{face}-parted"))
    return out


def parts_left(case: Case, face: str) -> int:
    """Into how many pieces the cuts of a face part its panel."""
    from elbowroom.parts.case.case_cuts import pieces_left

    return len(pieces_left(case, face))


def _conflicts(case: Case, face: str, cuts: dict[str, Rect], apart: float) -> list[Fault]:
    """What is wrong between named cuts of one face, two at a time."""
    names, out = list(cuts), []
    to_cut = {name for name, c in case.named_cutouts().items() if c.to_cut}
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            by = cuts[a].overlap(cuts[b], apart)
            if by <= EXACT or (by > apart and _takes_in(a, b, to_cut)):
                continue
            u0, v0 = max(cuts[a].u0, cuts[b].u0), max(cuts[a].v0, cuts[b].v0)
            u1, v1 = min(cuts[a].u1, cuts[b].u1), min(cuts[a].v1, cuts[b].v1)
            said = "overlap" if by > apart else f"leave less than {apart:g} mm of sheet between them"
            sliver = by <= apart and _takes_in(a, b, to_cut)
            out.append(
                Fault(
                    f"{cut_called(a)} and {cut_called(b)} {said}: {by:.2f} mm too close",
                    "caution" if sliver else "fail", by,
                    _at(case, face, (u0 + u1) / 2, (v0 + v1) / 2), f"{a}~{b}",
                )
            )  # fmt: skip
    return out


def _takes_in(a: str, b: str, to_cut: set[str]) -> bool:
    """Whether one of two cuts is still to be made and may take the other in."""
    other = b if a in to_cut else a if b in to_cut else None
    return other is not None and (other in to_cut or other.startswith(("cut-out", *SLOT_FIELD)))


def _fittings(case: Case) -> list[Fault]:
    out: list[Fault] = []
    d, w, h = case.size
    for name, rect in case.solid_spots("tray").items():
        margin = 0.0 if name.startswith("standoff") else -TAIL_RELIEF
        out += [Fault(f"{name} leaves the tray by {by:.2f} mm at the {wall}", over=by,
                      at=_middle(case, "tray", rect), place=f"{name}-{wall}")
                for wall, by in rect.sticks_out(Spread(d, h, w, w), "tray", margin)]  # fmt: skip
    shroud = case.psu_shroud.plates(case.interior) if case.psu_shroud else {}
    boxes = {f"shroud {n}": b for n, b in shroud.items()}
    if case.drive_cage:
        boxes["drive cage"] = case.drive_cage.box(case.interior)
    for name, b in boxes.items():
        for axis, lo, hi, limit in zip("xyz", b.lo, b.hi, (d, w, h), strict=True):
            for wall, by in zip(AXIS_WALLS[axis], (-lo, hi - limit), strict=True):
                if by > EXACT:
                    text = f"{name} leaves the interior by {by:.2f} mm at the {wall}"
                    out.append(Fault(text, over=by, at=b.lo, place=f"{name}-{wall}"))
    if case.drive_cage:
        cage = boxes["drive cage"]
        for name, b in boxes.items():
            by = min(min(p, q) - max(r, s) for p, q, r, s in zip(b.hi, cage.hi, b.lo, cage.lo, strict=True))
            if name != "drive cage" and by > EXACT:
                text = f"drive cage and {name} plate overlap by {by:.2f} mm"
                out.append(Fault(text, over=by, at=cage.lo, place=f"drive-cage~{name}"))
    if case.feet:
        reach, t = float(case.feet.inset + case.feet.diameter / 2), float(case.sheet)
        for axis, length in (("depth", d + 2 * t), ("width", case.back)):
            if (by := 2 * (reach - length / 2)) > EXACT:
                out.append(Fault(f"feet overlap each other by {by:.2f} mm across the {axis}", over=by,
                                 place=f"feet-{axis}"))  # fmt: skip
        if (by := case.feet.diameter / 2 - case.feet.inset) > EXACT:
            out.append(Fault(f"feet stand out by {by:.2f} mm; raise inset", over=by, place="feet-out"))
    return out
