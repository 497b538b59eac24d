"""Numbers in rings, with a line to what they mean: how lists beside a drawing are tied to it.

Owns how they look and whether one has room. What is numbered, and where a number is tried, is the drawing's own.
"""

from __future__ import annotations

from elbowroom.model.pictures.sheet import INK, PAPER, SMALL, Box, Sheet

RADIUS = 12.0  # px of a number's ring


def has_room(sheet: Sheet, at: tuple[float, float], room: Box) -> bool:
    r = RADIUS + 2
    box = (at[0] - r, at[1] - r, at[0] + r, at[1] + r)
    return room[0] <= box[0] and room[1] <= box[1] and box[2] <= room[2] and box[3] <= room[3] and sheet.free(box)


def balloon(sheet: Sheet, n: int, of: tuple[float, float], at: tuple[float, float], led: bool) -> None:
    if led:
        sheet.lines([[of, at]], PAPER, 3.5)
        sheet.lines([[of, at]], INK, 1.2)
        sheet.circle(*of, 2.5, fill=INK)
    sheet.circle(*at, RADIUS, fill=PAPER, stroke=INK, width_px=1.6)
    sheet.text(at[0], at[1] + 5.2, str(n), SMALL, INK, "middle")
    r = RADIUS
    sheet.words[-1] = (at[0] - r, at[1] - r, at[0] + r, at[1] + r)
