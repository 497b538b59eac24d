"""A bent tube as bars: what the free-space oracle and other runs see of it.

Owns cutting arcs into chords with the error stated, the tube as a closed mesh, and distances between bars. A straight
is a flat-ended bar, the tube itself. The chords of an arc have round ends and lie half inside and half outside it, so
that neither side strays further than `slack`, which is added to their radius: the bars contain the tube. Millimetres.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Floats, Obstacle, Point, Rod, Rods
from elbowroom.parts.vocabulary.bends import Run, Straight, bend_run
from elbowroom.parts.vocabulary.centre_line import sample

Ints = NDArray[np.int64]

COARSE_DEG = 7.5  # deg of arc in a chord: strays 0.03 mm at a radius of 28
FINE_DEG = 1.5  # deg: 0.0012 mm at 28, where a verdict hangs on it
RING = 48  # corners of a swept tube's section: strays 0.009 mm from a 16 mm tube either way


@dataclass(frozen=True, slots=True, eq=False)
class Bars:
    """The bars of a run in order. rods: all, taken with round ends; flat (n,): which are straights and end flat.
    slack (n,): mm added to each radius. piece (n,): index into run.pieces. first, last (n,): mm along the centre line
    from the start at which each bar begins and ends.
    """

    rods: Rods
    flat: NDArray[np.bool_]
    slack: Floats
    piece: NDArray[np.int64]
    first: Floats
    last: Floats

    def __len__(self) -> int:
        return len(self.rods)

    def batches(self, mask: NDArray[np.bool_]) -> list[tuple[Ints, Rods]]:
        """The bars of a mask as they end: rows and bars of the straights, then of the arcs."""
        out = []
        for flat in (True, False):
            rows = np.nonzero(mask & (self.flat == flat))[0]
            if len(rows):
                r = self.rods
                out.append((rows, Rods(r.starts[rows], r.ends[rows], r.radii[rows], not flat)))
        return out

    def boxes(self) -> tuple[Floats, Floats]:
        """Boxes of all bars, lower and upper corners (n, 3)."""
        lo, hi = np.empty((len(self), 3)), np.empty((len(self), 3))
        for rows, rods in self.batches(np.ones(len(self), dtype=bool)):
            lo[rows], hi[rows] = rods.boxes()
        return lo, hi


def bars_of(run: Run, od: float, step: float = COARSE_DEG, cuts: Sequence[float] = ()) -> Bars:
    """The bars of a run. cuts: mm along the centre line at which straights are parted, so that a bar can be judged
    wholly on one side of it.
    """
    starts, ends, flat, slack, piece, first, last = [], [], [], [], [], [], []
    at = 0.0
    for k, p in enumerate(run.pieces):
        length = p.length
        if isinstance(p, Straight):
            a, b = np.array(p.start), np.array(p.end)
            marks = [0.0, *sorted(c - at for c in cuts if at < c < at + length), length]
            for u, v in itertools.pairwise(marks):
                starts.append(a + (b - a) * (u / length))
                ends.append(a + (b - a) * (v / length))
                flat.append(True)
                slack.append(0.0)
                piece.append(k)
                first.append(at + u)
                last.append(at + v)
        else:
            n = max(1, math.ceil(p.angle / step - 1e-9))
            half = math.radians(p.angle) / n / 2
            out = 2 * p.radius / (1 + math.cos(half))
            centre = np.array(p.centre)
            u = (np.array(p.start) - centre) / p.radius
            w = (np.array(p.middle) - centre) / p.radius
            mid = math.radians(p.angle) / 2
            v = (w - math.cos(mid) * u) / math.sin(mid)
            t = np.linspace(0.0, math.radians(p.angle), n + 1)[:, None]
            ring = centre + out * (np.cos(t) * u + np.sin(t) * v)
            starts.extend(ring[:-1])
            ends.extend(ring[1:])
            flat.extend([False] * n)
            slack.extend([out - p.radius] * n)
            piece.extend([k] * n)
            cut = at + length * np.linspace(0, 1, n + 1)
            first.extend(cut[:-1])
            last.extend(cut[1:])
        at += length
    s = np.array(slack)
    rods = Rods(np.array(starts), np.array(ends), od / 2 + s)
    return Bars(rods, np.array(flat), s, np.array(piece), np.array(first), np.array(last))


def gaps(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    """Least distances between segments a-b and c-d, broadcast over leading axes; coordinates last."""
    u, v, r = b - a, d - c, a - c
    uu, vv, uv = np.maximum(_dot(u, u), 1e-300), np.maximum(_dot(v, v), 1e-300), _dot(u, v)
    ur, vr = _dot(u, r), _dot(v, r)
    det = uu * vv - uv * uv
    skew = det > 1e-12 * uu * vv
    # The least distance is at the common perpendicular where that meets both, else from one of the four ends.
    zero, one = np.zeros_like(det), np.ones_like(det)
    s = np.clip(np.where(skew, (uv * vr - vv * ur) / np.where(skew, det, 1.0), 0.0), 0, 1)
    best = np.full_like(det, np.inf)
    for s_ in (s, zero, one):
        t_ = np.clip((uv * s_ + vr) / vv, 0, 1)
        best = np.minimum(best, _apart(r, u, v, s_, t_))
    for t_ in (np.clip((uv * s + vr) / vv, 0, 1), zero, one):
        s_ = np.clip((uv * t_ - ur) / uu, 0, 1)
        best = np.minimum(best, _apart(r, u, v, s_, t_))
    out: Floats = np.sqrt(best)
    return out


def _apart(r: Floats, u: Floats, v: Floats, s: Floats, t: Floats) -> Floats:
    e = r + s[..., None] * u - t[..., None] * v
    return _dot(e, e)


def _dot(a: Floats, b: Floats) -> Floats:
    out: Floats = np.einsum("...i,...i", a, b)
    return out


def self_gap(bars: Bars, radius: float) -> tuple[float, Point]:
    """Least distance of a centre line from itself (certified, mm) and where; (inf, origin) where it cannot return.

    Two places of a line nowhere more curved than `radius` lie apart while less than half a turn of it is between them,
    so only bars further apart along the line are compared.
    """
    n = len(bars)
    i, j = np.triu_indices(n, 2)
    far = bars.first[j] - bars.last[i] > math.pi * radius * (1 - 1e-9)
    i, j = i[far], j[far]
    if not len(i):
        return math.inf, (0.0, 0.0, 0.0)
    a, b = bars.rods.starts, bars.rods.ends
    d = gaps(a[i], b[i], a[j], b[j]) - bars.slack[i] - bars.slack[j]
    k = int(np.argmin(d))
    m = (a[i[k]] + b[i[k]]) / 2
    return float(d[k]), (float(m[0]), float(m[1]), float(m[2]))


def rod_mesh(name: str, rod: Rod) -> Obstacle:
    """A bar as a closed mesh with its bound; round ends are squared off, so that the mesh contains them."""
    a, b = np.array(rod.start), np.array(rod.end)
    d = (b - a) / np.linalg.norm(b - a)
    over = rod.radius if rod.round_ends else 0.0
    return swept(name, bend_run(np.array([a - over * d, b + over * d]), 1.0), 2 * rod.radius)


def swept(name: str, run: Run, od: float, bound_step: float = COARSE_DEG) -> Obstacle:
    """The tube as a closed mesh with its bound: rings carried along the centre line without twist."""
    largest = max((p.radius for p in run.pieces if not isinstance(p, Straight)), default=0.0)
    chord = largest * (1 - math.cos(math.radians(bound_step) / 2)) if largest else 0.0
    line = sample(run, chord) if chord > 0 else np.array([run.pieces[0].start, run.pieces[-1].end])
    keep = np.concatenate([[True], np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-9])
    line = line[keep]
    legs = np.diff(line, axis=0)
    legs /= np.linalg.norm(legs, axis=1)[:, None]
    bisect = np.vstack([legs[:1], legs[:-1] + legs[1:], legs[-1:]])
    bisect /= np.linalg.norm(bisect, axis=1)[:, None]
    x = np.eye(3)[int(np.argmin(np.abs(legs[0])))]
    # Corners lie outside the true section and mid-faces inside it by the same amount.
    c = math.cos(math.pi / RING)
    r = od / 2 * 2 / (1 + c)
    angles = 2 * np.pi * (np.arange(RING) + 0.5) / RING
    rings = []
    leg = legs[0]
    x = x - leg * (x @ leg)
    x /= np.linalg.norm(x)
    ring = line[0] + r * (np.cos(angles)[:, None] * x + np.sin(angles)[:, None] * np.cross(leg, x))
    rings.append(ring)
    for k in range(1, len(line)):
        d, normal = legs[k - 1], bisect[k]
        t = ((line[k] - ring) @ normal) / (d @ normal)  # slide the corners along the leg to the mitre plane
        ring = ring + t[:, None] * d
        rings.append(ring)
    v = np.vstack([*rings, line[:1], line[-1:]])
    m, n = RING, len(line)
    i = np.arange(m)
    j = (i + 1) % m
    f = []
    for k in range(n - 1):
        a, b = k * m, (k + 1) * m
        f += [np.stack([a + i, a + j, b + j], axis=1), np.stack([a + i, b + j, b + i], axis=1)]
    f += [np.stack([np.full(m, n * m), j, i], axis=1)]
    f += [np.stack([np.full(m, n * m + 1), (n - 1) * m + i, (n - 1) * m + j], axis=1)]
    stretch = 1 / math.cos(math.radians(bound_step) / 2)  # a mitred ring is wider across the bend
    bound = r * stretch - od / 2 + chord
    return Obstacle(name, v, np.vstack(f).astype(np.int32), bound)
