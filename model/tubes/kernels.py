"""The arithmetic of many lines at once, compiled: what they measure, how much room they have, what they pass near.

Owns the loops behind `lines`, `field` and `task`, which say what the figures mean. Lines are corner polylines
(n, k + 2, 3) bent with one radius; the map is `field.Field`'s array. Single precision where the map has it.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.tubes.compiled import helper, kernel

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]

TURN_EPS = 1e-8  # rad: less is no bend
FAR = 1e6  # mm: stands for a setback no leg can hold
SLACK = 1e-7  # mm: rounding a leg may lack
_HALF_TURN = -0.9999  # cosine between legs below which no arc is drawn
_FLAT = math.radians(1e-6)  # a corner that turns less is no bend to `parts.bends`


@kernel(
    "void(f8[:,:,::1], f8, f8, f8, f8, i8, f8, f8, f8[:,:,::1], f8[:,::1], f8[:,::1], f8[:,::1], f8[::1], f8[::1],"
    " f8[::1])"
)
def measure_lines(
    points: Floats, radius: float, end_leg: float, between: float, largest: float, most_bends: int, square: float,
    worth: float, directions: Floats, straights: Floats, turns: Floats, setbacks: Floats, length: Floats, cost: Floats,
    lack: Floats,
) -> None:  # fmt: skip
    """Fill the last seven, as `lines.Lines` names them. square: least cosine of a leg to an axis, 0 where any will do;
    largest: rad.
    """
    n, legs = points.shape[0], points.shape[1] - 1
    for i in range(n):
        worst, bends, aslant = -np.inf, 0, False
        for j in range(legs):
            x = points[i, j + 1, 0] - points[i, j, 0]
            y = points[i, j + 1, 1] - points[i, j, 1]
            z = points[i, j + 1, 2] - points[i, j, 2]
            size = math.sqrt(x * x + y * y + z * z)
            over = max(size, 1e-12)
            x, y, z = x / over, y / over, z / over
            directions[i, j, 0], directions[i, j, 1], directions[i, j, 2] = x, y, z
            straights[i, j] = size
            if square > 0 and size > SLACK and max(abs(x), abs(y), abs(z)) < square:
                aslant = True
        sharpest = 0.0
        for j in range(legs - 1):
            cos, chord = 0.0, 0.0
            for m in range(3):
                u, v = directions[i, j, m], directions[i, j + 1, m]
                cos += u * v
                chord += (v - u) * (v - u)
            # From the chord of the unit directions: exact where the turn is small, unlike the arc cosine.
            turn = 2 * math.asin(min(math.sqrt(chord) / 2, 1.0))
            back = radius * (math.tan(turn / 2) if cos > _HALF_TURN else FAR)
            turns[i, j], setbacks[i, j] = turn, back
            straights[i, j] -= back
            straights[i, j + 1] -= back
            sharpest = max(sharpest, turn)
            bends += turn > TURN_EPS
        total, arcs = 0.0, 0.0
        for j in range(legs):
            need = end_leg if j == 0 or j == legs - 1 else between
            worst = max(worst, need - straights[i, j])
            total += straights[i, j]
        for j in range(legs - 1):
            arcs += turns[i, j]
        if sharpest - largest > 1e-9:
            worst = max(worst, (sharpest - largest) * radius)
        elif legs > 1:
            worst = max(worst, 0.0)
        if bends > most_bends or aslant:
            worst = FAR
        length[i] = total + radius * arcs
        cost[i] = length[i] + worth * bends
        lack[i] = 0.0 if worst <= SLACK else worst


@helper
def _cell(v: np.float32, n: int) -> int:
    return min(max(int(v), 0), n - 1)


@helper
def _excess(
    near: Floats32, lo: Floats32, scale: np.float32, cell: np.float32, x: np.float32, y: np.float32, z: np.float32,
    tight: bool, seen: Bytes,
) -> np.float32:  # fmt: skip
    """Distance to the point the cell knows less the one wanted; tight: the least of it and its six neighbours'.
    Cells that are asked are marked in `seen`.
    """
    i = _cell((x - lo[0]) * scale, near.shape[0])
    j = _cell((y - lo[1]) * scale, near.shape[1])
    k = _cell((z - lo[2]) * scale, near.shape[2])
    u, v, w = x - near[i, j, k, 0], y - near[i, j, k, 1], z - near[i, j, k, 2]
    least = np.sqrt(u * u + v * v + w * w) - near[i, j, k, 3]
    seen[i, j, k] = 1
    if tight:
        for m in range(6):
            a, b, c = i, j, k
            step = cell if m % 2 else -cell
            if m < 2:
                a = _cell((x + step - lo[0]) * scale, near.shape[0])
            elif m < 4:
                b = _cell((y + step - lo[1]) * scale, near.shape[1])
            else:
                c = _cell((z + step - lo[2]) * scale, near.shape[2])
            u, v, w = x - near[a, b, c, 0], y - near[a, b, c, 1], z - near[a, b, c, 2]
            least = min(least, np.sqrt(u * u + v * v + w * w) - near[a, b, c, 3])
            seen[a, b, c] = 1
    return least


@kernel("void(f4[:,:,:,::1], f4[::1], f4, f4, f4[:,::1], b1, u1[:,:,::1], f4[::1])")
def excess_at(
    near: Floats32, lo: Floats32, scale: np.float32, cell: np.float32, points: Floats32, tight: bool, seen: Bytes,
    out: Floats32,
) -> None:  # fmt: skip
    """Fill `out` with the map's figure at each point, and mark the cells that are asked."""
    for i in range(points.shape[0]):
        out[i] = _excess(near, lo, scale, cell, points[i, 0], points[i, 1], points[i, 2], tight, seen)


@kernel(
    "void(f4[:,:,:,::1], f4[::1], f4, f4, f4, f8, f8, i8[::1], i8[::1], f8[:,:,::1], f8[:,:,::1], f8[:,::1],"
    " f8[:,::1], f8[:,::1], f8[::1], f8, b1, f8[::1], u1[:,:,::1], f8[::1])"
)
def least_room(
    near: Floats32, lo: Floats32, scale: np.float32, cell: np.float32, thick: np.float32, skip0: float,
    skip1: float, straight_parts: Ints, arc_parts: Ints, points: Floats, directions: Floats, straights: Floats,
    turns: Floats, setbacks: Floats, length: Floats, radius: float, tight: bool, floors: Floats, seen: Bytes,
    out: Floats,
) -> None:  # fmt: skip
    """Fill `out` with the least room along each line, `thick` taken off the map's figure. A line that falls below its
    floor is left there, with what was found so far. skip0, skip1: mm at the ends that are not looked at.
    straight_parts, arc_parts: steps in which each straight and arc is looked at. seen: as `_excess` marks it.
    """
    n, legs = points.shape[0], points.shape[1] - 1
    for i in range(n):
        least, at, stop, low = np.float32(np.inf), 0.0, length[i] - skip1, floors[i]
        for piece in range(2 * legs - 1):  # straights and arcs in turn
            j, arc = piece // 2, piece % 2 == 1
            d0, d1, d2 = directions[i, j, 0], directions[i, j, 1], directions[i, j, 2]
            i0, i1, i2, cstep, sstep = 0.0, 0.0, 0.0, 1.0, 0.0
            if arc:
                if turns[i, j] <= TURN_EPS:
                    continue
                whole, back, corner = radius * turns[i, j], -setbacks[i, j], j + 1
                parts, begin = arc_parts[j], 1
                cos = math.cos(turns[i, j])
                i0, i1, i2 = (
                    directions[i, j + 1, 0] - d0 * cos,
                    directions[i, j + 1, 1] - d1 * cos,
                    directions[i, j + 1, 2] - d2 * cos,
                )
                size = radius / max(math.sqrt(i0 * i0 + i1 * i1 + i2 * i2), 1e-12)
                i0, i1, i2 = i0 * size, i1 * size, i2 * size
                cstep, sstep = math.cos(turns[i, j] / parts), math.sin(turns[i, j] / parts)
            else:
                whole, back, corner = max(straights[i, j], 0.0), setbacks[i, j - 1] if j > 0 else 0.0, j
                parts, begin = straight_parts[j], 0
            b0 = points[i, corner, 0] + d0 * back
            b1 = points[i, corner, 1] + d1 * back
            b2 = points[i, corner, 2] + d2 * back
            c, s = cstep, sstep
            for m in range(begin, parts + 1 - begin):
                along = whole * (m / parts)
                f = radius * s if arc else along
                g = 1 - c
                c, s = c * cstep - s * sstep, s * cstep + c * sstep
                if at + along < skip0 or at + along > stop:
                    continue
                x = np.float32(b0 + f * d0 + g * i0)
                y = np.float32(b1 + f * d1 + g * i1)
                z = np.float32(b2 + f * d2 + g * i2)
                least = min(least, _excess(near, lo, scale, cell, x, y, z, tight, seen) - thick)
                if least < low:
                    break
            if least < low:
                break
            at += whole
        out[i] = least


@helper
def _unit(v: float) -> float:
    return min(max(v, 0.0), 1.0)


@helper
def segments_apart(a: Floats, b: Floats, c: Floats, d: Floats) -> float:
    """Least distance between two segments, as `bars.gaps`."""
    u0, u1, u2 = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    v0, v1, v2 = d[0] - c[0], d[1] - c[1], d[2] - c[2]
    r0, r1, r2 = a[0] - c[0], a[1] - c[1], a[2] - c[2]
    uu = max(u0 * u0 + u1 * u1 + u2 * u2, 1e-300)
    vv = max(v0 * v0 + v1 * v1 + v2 * v2, 1e-300)
    uv = u0 * v0 + u1 * v1 + u2 * v2
    ur, vr = u0 * r0 + u1 * r1 + u2 * r2, v0 * r0 + v1 * r1 + v2 * r2
    det = uu * vv - uv * uv
    s = _unit((uv * vr - vv * ur) / det) if det > 1e-12 * uu * vv else 0.0
    best = np.inf
    # Where the common perpendicular meets both, else from one of the four ends.
    for m in range(6):
        if m < 3:
            p = s if m == 0 else float(m - 1)
            q = _unit((uv * p + vr) / vv)
        else:
            q = _unit((uv * s + vr) / vv) if m == 3 else float(m - 4)
            p = _unit((uv * q - ur) / uu)
        x, y, z = r0 + p * u0 - q * v0, r1 + p * u1 - q * v1, r2 + p * u2 - q * v2
        best = min(best, x * x + y * y + z * z)
    return math.sqrt(best)


@kernel("f8(f8[:,::1], f8, f8, f8, b1, f8, f8[:,::1], f8[:,::1], f8[::1])")
def body_room(
    points: Floats, radius: float, thick: float, step: float, at_end: bool, beyond: float, starts: Floats, ends: Floats,
    radii: Floats,
) -> float:  # fmt: skip
    """Least distance between a bent tube, in bars as `bars.bars_of` cuts it (step: rad), and other bars, all with round
    ends; only bars that begin at least `beyond` mm from the run's start (or end) count. inf where none does.
    """
    legs = points.shape[0] - 1
    d = np.empty((legs, 3))
    straights, turns = np.empty(legs), np.zeros(legs)
    for j in range(legs):
        for k in range(3):
            d[j, k] = points[j + 1, k] - points[j, k]
        straights[j] = math.sqrt(d[j, 0] ** 2 + d[j, 1] ** 2 + d[j, 2] ** 2)
        for k in range(3):
            d[j, k] /= max(straights[j], 1e-12)
    backs = np.zeros(legs + 1)  # at the corner each leg begins at
    for j in range(legs - 1):
        chord = math.sqrt((d[j + 1, 0] - d[j, 0]) ** 2 + (d[j + 1, 1] - d[j, 1]) ** 2 + (d[j + 1, 2] - d[j, 2]) ** 2)
        turn = 2 * math.asin(min(chord / 2, 1.0))
        if turn > _FLAT:
            turns[j] = turn
            backs[j + 1] = radius * math.tan(turn / 2)
    total = 0.0
    for j in range(legs):
        straights[j] -= backs[j] + backs[j + 1]
        total += straights[j] + radius * turns[j]
    least, at = np.inf, 0.0
    last, tip = np.empty(3), np.empty(3)
    centre, inward = np.empty(3), np.empty(3)
    for piece in range(2 * legs - 1):  # straights and arcs in turn
        j, arc = piece // 2, piece % 2 == 1
        n, out, turn = 1, radius, turns[j]
        whole = radius * turn if arc else straights[j]
        if arc and turn == 0.0:
            continue
        if arc:
            n = max(1, int(math.ceil(turn / step - 1e-9)))  # noqa: RUF046
            out = 2 * radius / (1 + math.cos(turn / n / 2))
            cos, size = math.cos(turn), 0.0
            for k in range(3):
                inward[k] = d[j + 1, k] - d[j, k] * cos
                size += inward[k] * inward[k]
            size = math.sqrt(size)
            for k in range(3):
                inward[k] /= size
                centre[k] = points[j + 1, k] - d[j, k] * backs[j + 1] + radius * inward[k]
                last[k] = centre[k] - out * inward[k]
        else:
            for k in range(3):
                last[k] = points[j, k] + d[j, k] * backs[j]
        for m in range(1, n + 1):
            phi = turn * m / n
            sin, cos = math.sin(phi), math.cos(phi)
            for k in range(3):
                if arc:
                    tip[k] = centre[k] + out * (sin * d[j, k] - cos * inward[k])
                else:
                    tip[k] = points[j + 1, k] - d[j, k] * backs[j + 1]
            first, end = at + whole * (m - 1) / n, at + whole * m / n
            if (total - end if at_end else first) >= beyond:
                for q in range(starts.shape[0]):
                    apart = segments_apart(last, tip, starts[q], ends[q])
                    least = min(least, apart - thick - (out - radius) - radii[q])
            for k in range(3):
                last[k] = tip[k]
        at += whole
    return least
