"""Does any pair of pieces share room, touch unasked, or stand nearer than wanted?

Owns the verdict on every pair of pieces: at least one finding each, save that of what is clear of a small piece (a
screw) only the nearest is told. Overlapping bodies are a `clash`; contact that no
mate declares is a `touch`; a gap whose worst case is under the wanted one is `tight`. Each such pair of bodies has its
own finding; where a pair of pieces has none, one `clear` finding names its nearest bodies. Between bodies that a mate
declares to meet, contact and nearness are the point, so only overlap counts. Keep-outs are judged in `keep_out`, and
whether mated faces really meet in `mates`.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any, assert_never

import numpy as np

from elbowroom.model.checks.contacts import BodyPair, mated_bodies
from elbowroom.model.checks.swallowed import WHOLLY, volume
from elbowroom.model.checks.unsound import boxed, gathered
from elbowroom.model.geometry.judged import Apart, Contact, Judged, Overlap, Undecided
from elbowroom.model.geometry.pairs import Checker, box_gap
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Gaps, Piece
from elbowroom.model.told.findings import Basis, Finding
from elbowroom.model.told.progress import Progress
from elbowroom.model.told.wordings import assumed_by, tenths
from elbowroom.model.tolerances import CONTACT_MM, HORIZON_MM
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask

SMALL_GAP_MM = 0.2  # wanted around screws, nuts and washers, where nothing larger is said; no source (P)
MOST_NEAR = 50_000  # pairs of pieces that are judged, some 20 s of work; a full tower has about a tenth. By choice
# Pairs of pieces found to overlap after which no more are judged: an overlap is measured in 4 ms, and a build with so
# many is to be mended first. By choice.
MOST_CLASHES = 5_000


def check(scene: Scene, checker: Checker, progress: Progress | None = None) -> list[Finding]:
    """At least one finding for every two pieces of the scene that have solid bodies."""
    bodies: dict[str, list[int]] = defaultdict(list)
    for k, solid in enumerate(scene.solids):
        if solid.body.keep_out is None:
            bodies[solid.piece.name].append(k)
    # By name, so that neither an id nor which of two equally near bodies is named depends on the order of the file.
    pieces = sorted((p for p in scene.layout.pieces if p.name in bodies), key=lambda p: p.name)
    if len(pieces) < 2:
        return []
    own = [np.array(bodies[p.name]) for p in pieces]
    lo = np.array([checker.boxes.lo[k].min(axis=0) for k in own])
    hi = np.array([checker.boxes.hi[k].max(axis=0) for k in own])
    i, j = np.triu_indices(len(pieces), 1)
    apart = box_gap(lo[i], hi[i], lo[j], hi[j])
    wanted = _wanted(scene.layout.gaps, pieces)[i, j]
    # No verdict may rest on a mesh with a fault, save that its box is certain: else such pieces are looked at with all
    # others, however far away.
    faulty = np.array([not all(boxed(scene.solids[k], checker.store) for k in own_k) for own_k in own])
    near = (apart <= np.maximum(wanted, HORIZON_MM)) | faulty[i] | faulty[j]
    assumed = [assumed_by(p) for p in pieces]

    near, left_out = _bounded(near, apart)
    candidates = {int(k): _by_boxes(checker, own[i[k]], own[j[k]]) for k in np.flatnonzero(near)}
    checker.prefetch(
        [
            pair
            for k, pairs in candidates.items()
            for n, (gap, pair) in enumerate(pairs)
            if n == 0 or gap < wanted[k] or gap < pairs[0][0] + CONTACT_MM
        ]
    )
    mated = mated_bodies(scene, checker)
    found: list[Finding] = []
    clashes = 0
    spoken: dict[str, Finding] = {}  # of a small piece, the nearest of what is clear of it
    for k in range(len(i)):
        a, b = pieces[i[k]], pieces[j[k]]
        if clashes >= MOST_CLASHES and k in candidates:
            left_out.add(k)
        if k in left_out or (k not in candidates and (a.part.small or b.part.small)):
            continue  # what a screw holds is nearer, and speaks for what is clear of it
        basis = assumed[i[k]] + assumed[j[k]]
        if k in candidates:
            new = _judge_pieces(checker, a, b, candidates[k], mated, float(wanted[k]), basis)
            if progress is not None:
                progress(k + 1, len(i), "checking pairs")
        else:
            new = [_far(a, b, float(apart[k]), float(wanted[k]), basis)]
        clashes += any(f.verdict == "clash" for f in new)
        small = [p.name for p in (a, b) if p.part.small]
        found += [f for f in new if f.verdict != "clear" or not small]
        for f in new:
            if f.verdict == "clear":
                spoken.update({n: f for n in small if n not in spoken or _nearer(f, spoken[n])})
    if left_out:
        found.append(
            _too_many(int(near.sum()), left_out, clashes, [pieces[n] for n in (i[min(left_out)], j[min(left_out)])])
        )
    return gathered(scene, [*found, *{f.id: f for f in spoken.values()}.values()])


def _bounded(near: Mask, apart: Floats) -> tuple[Mask, set[int]]:
    """The pairs to judge, the nearest of them if there are too many, and those that are left out."""
    found = np.flatnonzero(near)
    if len(found) <= MOST_NEAR:
        return near, set()
    order = found[np.argsort(apart[found], kind="stable")]
    kept = np.zeros(len(near), dtype=bool)
    kept[order[:MOST_NEAR]] = True
    return kept, {int(k) for k in order[MOST_NEAR:]}


def _too_many(near: int, left: set[int], clashes: int, first: list[Piece]) -> Finding:
    """near: pairs that were to be judged. left: those that were not, and those too many to be."""
    named = f"{first[0].name} and {first[1].name} among them"
    if clashes >= MOST_CLASHES:
        text = (
            f"{clashes} pairs of parts overlap; after so many no more are judged: {len(left)} pairs that stand within "
            f"reach of each other are not, {named}. Mend these first, or judge the build in parts"
        )
    else:
        text = (
            f"{near + len(left)} pairs of parts stand within reach of each other, more than the {MOST_NEAR} that are "
            f"judged; {len(left)} are not, {named}: judge the build in parts, or move them apart"
        )
    return Finding("interference", "unknown", (first[0].name, first[1].name), text)


def _nearer(one: Finding, other: Finding) -> bool:
    """Whether a clear finding says more than another: of what may not touch before what may, then by distance."""
    return (one.required is None, one.measured or 0.0) < (other.required is None, other.measured or 0.0)


def _wanted(gaps: Gaps, pieces: list[Piece]) -> Floats:
    """`Gaps.wanted` of every two pieces, as a matrix: the same rule, asked once for each pair of families."""
    by_piece = np.array([gaps.pieces.get(p.name, 0.0) for p in pieces])
    names = sorted({p.part.family for p in pieces})
    place = np.array([names.index(p.part.family) for p in pieces])
    by_family = np.array([[gaps.families.get((min(f, g), max(f, g)), 0.0) for g in names] for f in names])
    pairwise = np.maximum(np.maximum(by_piece[:, None], by_piece[None]), by_family[place[:, None], place[None]])
    # What is screwed down stays where it is: it needs no room to be set in, only not to be met.
    small = np.array([p.part.small for p in pieces])
    default = np.where(small[:, None] | small[None], min(gaps.default, SMALL_GAP_MM), gaps.default)
    out: Floats = np.maximum(pairwise, default)
    return out


def wanted_between(gaps: Gaps, a: Piece, b: Piece) -> float:
    """mm wanted between two pieces, as the check has it."""
    return float(_wanted(gaps, [a, b])[0, 1])


def _by_boxes(checker: Checker, a: Ints, b: Ints) -> list[tuple[float, BodyPair]]:
    """The body pairs of two pieces with the distance of their boxes, nearest first."""
    i, j = np.repeat(a, len(b)), np.tile(b, len(a))
    gap = checker.boxes.gap(i, j)
    return [(float(gap[k]), (int(i[k]), int(j[k]))) for k in np.argsort(gap, kind="stable")]


def _judge_pieces(
    checker: Checker,
    a: Piece,
    b: Piece,
    candidates: list[tuple[float, BodyPair]],
    mated: dict[BodyPair, str],
    wanted: float,
    assumed: Any,
) -> list[Finding]:
    found: list[Finding] = []
    nearest: tuple[BodyPair, Apart | Contact] | None = None
    closest: float | None = None  # mm, of any pair judged so far
    unsound = False  # a faulty mesh is said once for two pieces, of its nearest bodies
    apart: float | None = None  # mm between boxes that are certain, where one of the meshes is not sound
    for gap, pair in candidates:
        if any(checker.scene.solids[k].mesh.fault is not None for k in pair):
            if gap >= wanted and all(boxed(checker.scene.solids[k], checker.store) for k in pair):
                apart = gap if apart is None else min(apart, gap)
                continue
            if not unsound:
                found.append(_unsound(checker, a, b, pair, assumed))
            unsound = True
            continue
        if closest is not None and gap >= max(wanted, closest):
            continue  # not the end: a mesh that is not sound may come yet
        meets = pair in mated
        judged = checker.judge(*pair, None if meets else wanted)
        finding = _finding(checker, a, b, pair, judged, wanted, meets, assumed)
        if finding is not None:
            found.append(finding)
        distance = judged.gap if isinstance(judged, Apart) else 0.0
        if closest is None or distance < closest:
            closest = distance
            if isinstance(judged, Apart | Contact):
                nearest = (pair, judged)
    if found:
        return found
    if nearest is None or closest is None or (apart is not None and apart < closest):
        assert apart is not None
        return [_far(a, b, apart, wanted, assumed)]
    pair, clear = nearest
    return [_clear(checker, a, b, pair, clear, wanted, mated.get(pair), assumed)]


def _names(checker: Checker, pair: BodyPair) -> tuple[str, str]:
    return checker.scene.solids[pair[0]].name, checker.scene.solids[pair[1]].name


def _finding(
    checker: Checker, a: Piece, b: Piece, pair: BodyPair, judged: Judged, wanted: float, mated: bool, assumed: Any
) -> Finding | None:
    """What there is to say against a pair of bodies; None where nothing is."""
    one, other = _names(checker, pair)
    parts, bodies = (a.name, b.name), (one, other)
    match judged:
        case Undecided():
            text = f"{one} and {other}: unknown whether they meet; {judged.reason}"
            basis = Basis("none", judged.bound, assumed)
            return Finding("interference", "unknown", parts, text, bodies, basis=basis)
        case Overlap():
            return _clash(checker, parts, pair, judged, assumed)
        case Contact():
            if mated:
                return None
            text = f"{one} and {other} touch, and nothing says they should; {tenths(wanted)} are wanted between them"
            return Finding(
                "clearance", "touch", parts, text, bodies, 0.0, "mm", wanted, 0.0, 0.0, (judged.at, judged.at),
                Basis("exact", 0.0, assumed),
            )  # fmt: skip
        case Apart():
            if mated or judged.low >= wanted - CONTACT_MM:
                return None
            said, low = tenths(judged.gap, wanted), tenths(judged.low, wanted)
            worst = f" ({low} at worst)" if judged.gap - judged.low > CONTACT_MM and low != said else ""
            text = f"{one} and {other} are {said} apart{worst}; {tenths(wanted)} are wanted"
            return Finding(
                "clearance", "tight", parts, text, bodies, judged.gap, "mm", wanted, judged.low, judged.high,
                (judged.point_a, judged.point_b), Basis(judged.method, judged.bound, assumed),
            )  # fmt: skip
        case _:
            assert_never(judged)


def _clash(checker: Checker, parts: tuple[str, str], pair: BodyPair, shared: Overlap, assumed: Any) -> Finding:
    one, other = _names(checker, pair)
    text = f"{one} and {other} overlap by {tenths(shared.depth)}"
    # Against the mesh's own volume, since it is meshes that share room: a round body's is a little less than true.
    both = [checker.scene.solids[k] for k in pair]
    whole = [s.name for s in both if shared.volume_mm3 >= WHOLLY * volume(checker, s)]
    short = ""
    if whole:
        text += f"; {whole[0]} lies wholly inside"
        short = f"{whole[0]} lies wholly inside {other if whole[0] == one else one}"
    extra: tuple[tuple[str, Any], ...] = (("volume_mm3", shared.volume_mm3), ("depth_mm", shared.depth))
    return Finding(
        "interference", "clash", parts, text, (one, other), shared.depth, "mm", 0.0, shared.low, shared.high,
        (shared.point_a, shared.point_b), Basis(shared.method, shared.bound, assumed), extra=extra, short=short,
    )  # fmt: skip


def _unsound(checker: Checker, a: Piece, b: Piece, pair: BodyPair, assumed: Any) -> Finding:
    one, other = _names(checker, pair)
    bad = next(s for k in pair if (s := checker.scene.solids[k]).mesh.fault is not None)
    text = f"{one} and {other}: unknown whether they meet; the mesh of {bad.name} is not sound: {bad.mesh.fault}"
    return Finding("interference", "unknown", (a.name, b.name), text, (one, other), basis=Basis("none", 0.0, assumed))


def _clear(
    checker: Checker, a: Piece, b: Piece, pair: BodyPair, judged: Apart | Contact, wanted: float, mate: str | None,
    assumed: Any,
) -> Finding:  # fmt: skip
    one, other = _names(checker, pair)
    gap = low = high = 0.0
    basis = Basis("exact", 0.0, assumed)
    match judged:
        case Contact():
            state, where = "meet", (judged.at, judged.at)
        case Apart():
            state, where = f"stand {tenths(judged.gap)} apart", (judged.point_a, judged.point_b)
            gap, low, high = judged.gap, judged.low, judged.high
            basis = Basis(judged.method, judged.bound, assumed)
        case _:
            assert_never(judged)
    if mate is None:
        text = f"{one} and {other} are {tenths(gap, wanted)} apart; {tenths(wanted)} are wanted"
    else:
        text = f"{one} and {other} {state}, mated {mate}"
    required = wanted if mate is None else None
    return Finding(
        "clearance", "clear", (a.name, b.name), text, (one, other), gap, "mm", required, low, high, where, basis
    )


def _far(a: Piece, b: Piece, apart: float, wanted: float, assumed: Any) -> Finding:
    text = f"{a.name} and {b.name} are at least {tenths(apart, wanted)} apart; {tenths(wanted)} are wanted"
    return Finding(
        "clearance", "clear", (a.name, b.name), text, (), apart, "mm", wanted, apart, None, (),
        Basis("boxes", 0.0, assumed),
    )  # fmt: skip
