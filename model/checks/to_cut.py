"""What is still to be cut into the case?

Owns a finding for each opening that is not there yet: its size, where it is marked out, and what it takes in of what is
there. Whether it runs into something it must not is the case's own fault, told by `checks.parts`.
"""

from __future__ import annotations

from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.told.cautions import AT_THE_SHEET
from elbowroom.model.told.findings import Basis, Finding
from elbowroom.parts.case.case import Case
from elbowroom.parts.case.case_faults import extent
from elbowroom.parts.case.case_fittings import Cutout
from elbowroom.parts.case.case_openings import BEHIND, cut_called
from elbowroom.parts.vocabulary.pose import apply


def check(layout: Layout) -> list[Finding]:
    """A caution for every cut-out still to be made."""
    return [
        _finding(layout, piece, piece.part, i, name, c)
        for piece in layout.pieces
        if isinstance(piece.part, Case)
        for i, (name, c) in enumerate(piece.part.named_cutouts().items(), 1)
        if c.to_cut
    ]


def _finding(layout: Layout, piece: Piece, case: Case, number: int, own: str, cutout: Cutout) -> Finding:
    cut = cutout.cut(case.face_size(cutout.face))
    size = " x ".join(f"{float(v):g}" for v in cutout.size.values())
    at = " and ".join(f"{float(v):g} from the {'tray, behind it' if w == BEHIND else w}" for w, v in cutout.at.items())
    taken = [
        cut_called(name)
        for name, cuts in case.fixed_cuts(cutout.face).items()
        if name != own and extent(cuts).overlap(cut.rect) > 0
    ]
    text = (
        f"to cut in the {cutout.face}: {own}, {size} mm ({' x '.join(cutout.size)}), its nearer edges {at}, "
        f"corners of {float(cutout.radius):g}"
    )
    if taken:
        text += f"; it takes in what is cut there: {', '.join(taken)}"
    x, y, z = (float(c) for c in apply(piece.pose, case.face_point(cutout.face, cut.u, cut.v)))
    names = [p.name for p in layout.pieces if cutout.made_for and cutout.made_for.endswith(f" for {p.name}")]
    extra = (
        ("face", cutout.face), ("at", {w: float(v) for w, v in cutout.at.items()}),
        ("size", {k: float(v) for k, v in cutout.size.items()}), ("radius", float(cutout.radius)),
        ("take_care", list(AT_THE_SHEET)),
    )  # fmt: skip
    return Finding(
        "cut", "caution", (piece.name, *names), text, (f"{piece.name}/{case.panel(cutout.face) or cutout.face}",),
        where=((x, y, z),), basis=Basis("arithmetic"), extra=extra, place=str(number),
    )  # fmt: skip
