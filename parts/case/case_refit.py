"""A catalogue case given other sizes: what becomes of the openings and cut-outs that the catalogue put in it.

Owns that choice, for those the build itself does not state. Each stays at the distances it is stated by where it can;
else it keeps its distance from the opposite wall, in one direction or both; else it falls away. What was moved or fell
away is noted, and told. What the build states stays as it states it, and what is wrong with that is a fault.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from elbowroom.parts.case.case_fittings import SIZE_ALONG, Cutout, Interior
from elbowroom.parts.case.case_openings import AXIS_WALLS, FACE_AXES, Axis, Opening, Wall
from elbowroom.parts.vocabulary.measure import Mm

if TYPE_CHECKING:
    from elbowroom.parts.case.case import Case

PLACED = {"face", "centre"}  # an opening whose build states one of these lies where the build says

_T = TypeVar("_T", Opening, Cutout)


def refit(case: Case, base: Mapping[str, Any], given: Mapping[str, Any]) -> Case:
    """The case with the catalogue's own openings and cut-outs where they still lie in it; `base`: the catalogue row's
    fields, `given`: the build's."""
    was = Interior.model_validate(base.get("interior", {}))
    stated = given.get("openings") or {}
    openings = {
        n: o
        for n, o in case.openings.items()
        if n in (base.get("openings") or {}) and not PLACED & set(stated.get(n) or ())
    }
    own_cuts = case.cutouts if "cutouts" not in given else ()
    if not (openings or own_cuts) or not case.faults():
        return case
    kept = {n: o for n, o in case.openings.items() if n not in openings}
    alone = case.model_copy(update={"openings": {}, "cutouts": () if own_cuts else case.cutouts})
    now = alone.model_copy(update={"openings": kept})
    notes: list[str] = []
    for name, o in openings.items():
        for there, moved in _places(o, was):
            made = now.model_copy(update={"openings": {**now.openings, name: there}})
            if _no_worse(made, now):
                now = made
                notes += _moved(f'opening "{name}"', moved)
                break
        else:
            if name in stated:  # the build wants it, so that it stays, and what is wrong with it is told
                now = now.model_copy(update={"openings": {**now.openings, name: o}})
                continue
            fits = _no_worse(alone.model_copy(update={"openings": {name: o}}), alone)
            why = "has no room beside what the build states there" if fits else "does not lie in this case"
            notes.append(f'the catalogue\'s opening "{name}" in the {o.face} {why} and falls away')
    for i, c in enumerate(own_cuts, 1):
        for spot, moved in _places(c, was):
            made = now.model_copy(update={"cutouts": (*now.cutouts, spot)})
            if _no_worse(made, now):
                now = made
                notes += _moved(f"cut-out {i}", moved)
                break
        else:
            notes.append(f"the catalogue's cut-out {i} in the {c.face} does not lie in this case and falls away")
    in_order = {n: now.openings[n] for n in case.openings if n in now.openings}
    return now.model_copy(update={"openings": in_order}).noted(tuple(notes))


def _moved(what: str, walls: tuple[str, ...]) -> list[str]:
    if not walls:
        return []
    return [
        f"the catalogue's {what} would not lie in this case: it keeps its distance from the {' and the '.join(walls)}"
    ]


def _no_worse(made: Case, before: Case) -> bool:
    """Whether nothing is wrong with a case that was right without what was put into it."""
    known = {f.text for f in before.faults()}
    return all(f.text in known for f in made.faults())


def _places(item: _T, was: Interior) -> Iterator[tuple[_T, tuple[str, ...]]]:
    """An opening where it is stated to be, then measured from the opposite wall in one direction, and in both; with
    the walls it is newly measured from."""
    at: Mapping[Wall, Mm] = item.centre if isinstance(item, Opening) else item.at
    first, second = FACE_AXES[item.face]
    yield item, ()
    for axes in ((first,), (second,), (first, second)):
        new: dict[Wall, Mm] = dict(at)
        walls: list[str] = []
        for axis in axes:
            wall = next((w for w in AXIS_WALLS[axis] if w in new), None)
            if wall is not None:  # what is measured from behind the tray has no other wall
                low, high = AXIS_WALLS[axis]
                other = high if wall == low else low
                new[other] = Mm(float(getattr(was, SIZE_ALONG[axis])) - float(new.pop(wall)) - _across(item, axis))
                walls.append(other)
        if walls:
            yield item.model_copy(update={"centre" if isinstance(item, Opening) else "at": new}), tuple(walls)


def _across(item: Opening | Cutout, axis: Axis) -> float:
    """How wide a thing is that is measured to its nearer edge; openings are measured to their centre."""
    return 0.0 if isinstance(item, Opening) else float(item.size[SIZE_ALONG[axis]])
