"""What is cut from a flat sheet of any part after it is drawn: notches and openings that let something else pass.

Owns the value and the cutting. A part carries its cuts beside its fields (`Part.with_cuts`): they belong to one build,
not to the article. Where its flat sheets lie, and what is to be cut, is worked out by `elbowroom.model`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from elbowroom.parts.vocabulary.contour import Contour
from elbowroom.parts.vocabulary.pose import Pose

if TYPE_CHECKING:
    from cadquery import Shape

PLACES = 9  # decimals of a millimetre by which two cuts are told apart


@dataclass(frozen=True, slots=True, eq=False)
class FlatCut:
    """One outline cut through one flat sheet of a body. sheet: its name. pose: of the sheet, in part coordinates: it
    fills z = 0 to `thickness`. contour: in the pose's x and y; it may run past the sheet's edge.
    """

    sheet: str
    body: str
    pose: Pose
    thickness: float
    contour: Contour

    def key(self) -> list[Any]:
        """Plain values by which two cuts are the same."""
        numbers = [round(float(v), PLACES) + 0.0 for v in self.pose[:3].ravel()]
        return [
            self.body,
            numbers,
            round(self.thickness, PLACES),
            [[round(c, PLACES) + 0.0 for c in v] for v in self.contour],
        ]


def cut(solids: Mapping[str, Shape], cuts: Sequence[FlatCut]) -> dict[str, Shape]:
    """The solids with the cuts taken out; raises DrawError where a body does not stay one solid."""
    from elbowroom.parts.vocabulary import draw
    from elbowroom.parts.vocabulary.contour import runs

    out = dict(solids)
    for c in cuts:
        tool = draw.baked(draw.slab(draw.outline(runs(c.contour)), (), c.thickness), c.pose)
        out[c.body] = draw.cut(out[c.body], tool)
    return out
