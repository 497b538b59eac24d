"""Windows still to be cut in a panel of a case, as closed lines to cut along, beside what the panel has already.

Owns their outlines in a view. The panel as the model shows it has them open; what is already open there is a mark.
"""

from __future__ import annotations

import math

from elbowroom.model.templates.drawing import Entity, Outline, Text
from elbowroom.parts.case.case import Case
from elbowroom.parts.case.case_openings import FACES
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.contour import Contour, area
from elbowroom.parts.vocabulary.pose import Pose, apply, inverse

_QUARTER = math.tan(math.radians(90) / 4)  # bulge of a quarter circle
LETTERS_MM = 4.0  # height of what is written in a window


def windows(part: Part, body: str, at: Pose) -> list[Entity]:
    """Lines to cut along, and what they are for, of the panel `body` seen from a pose; none for other parts."""
    if not isinstance(part, Case):
        return []
    out: list[Entity] = []
    for face in (f for f in FACES if part.panel(f) == body):
        for c in part.cutouts:
            if c.to_cut and c.face == face:
                cut = c.cut(part.face_size(face))
                r, k = cut.rect, cut.radius
                inner = [(r.u0, r.v0, 1, 1), (r.u1, r.v0, -1, 1), (r.u1, r.v1, -1, -1), (r.u0, r.v1, 1, -1)]
                points = []
                for n, (u, v, du, dv) in enumerate(inner):  # each corner by the two ends of its arc, in order
                    ends = [(u, v + dv * k), (u + du * k, v)]
                    points += ends if n % 2 == 0 else ends[::-1]
                x, y = (list(row) for row in zip(*(_seen(part, face, at, u, v) for u, v in points), strict=True))
                bulges = [_QUARTER if k > 0 else 0.0, 0.0] * 4
                contour: Contour = tuple(zip(x, y, bulges, strict=True))
                if area(tuple((a, b, 0.0) for a, b, _ in contour)) < 0:  # seen from behind: arcs turn the other way
                    contour = tuple((a, b, -bulge) for a, b, bulge in contour)
                out.append(Outline("cut", contour))
                mx, my = _seen(part, face, at, cut.u, cut.v)
                out.append(Text(mx, my, LETTERS_MM, f"to cut: {c.made_for or 'cut-out'}"))
    return out


def _seen(case: Case, face: str, at: Pose, u: float, v: float) -> tuple[float, float]:
    x, y, _ = apply(inverse(at), case.face_point(face, u, v))
    return float(x), float(y)
