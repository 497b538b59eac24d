"""Adapter plates that a build's joints are offered, as orders.

Owns finding them anew for `make`, and the layer a build file is to have for each, so that the stack with the plate in
it can be checked before anything is printed.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from elbowroom.model.geometry.names import UniqueNames
from elbowroom.model.making import advice
from elbowroom.model.making.orders import Order, ordered
from elbowroom.model.making.told import LAYER_LINE
from elbowroom.model.screws.fasten import Fastened
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.tolerances import ALIKE


def adapters(fastened: Fastened, store: Store, taken: Iterable[str] = ()) -> list[Order]:
    """An order for each adapter plate that would join a part to the slots it misses. taken: labels of other orders."""
    from elbowroom.model.screws.offers import name_for, offers
    from elbowroom.model.screws.trial import Trials

    build, layout = fastened.placed.build, fastened.placed.layout
    names, out = UniqueNames(), list[Order]()
    for label in taken:
        names.take(label)
    for offer in offers(fastened.joints, Trials(fastened, store)):
        if offer.part is None:
            continue
        label = names.take(name_for(offer.joint))
        about = f"joins {offer.joint} to the slots it misses: {offer.words}"
        entry = layer_text(offer.part, offer.joint, offer.centre)
        held = layout.piece(offer.joint.rpartition(".")[0])
        need = advice.clamped(held.part.family == "radiator", held.name)
        out.append(ordered(label, offer.part, 1, (), need, build.printer, about, entry))
    return out


def layer_text(part: Part, joint: str, centre: tuple[float, float]) -> str:
    """The plate as a layer, to be put nearest to the panel."""
    import yaml

    from elbowroom.model.screws.offers import name_for

    fields = {k: v for k, v in _written(part).items() if k not in ("hole_allowance",)}
    words = {f"{part.family}": "custom", "name": name_for(joint)}
    for key, at in zip(("slide", "aside"), centre, strict=True):
        if abs(at) > ALIKE:
            words[key] = round(at, 4)  # type: ignore[assignment]
    text = yaml.safe_dump([{**words, **fields}], sort_keys=False, default_flow_style=None, width=110)
    part_name = joint.rsplit(".", 1)[0]
    return (
        f"{LAYER_LINE}: the first of the stack's layers: between the panel and what {part_name} has before it.\n{text}"
    )


def _written(part: Part) -> dict[str, Any]:
    """The fields that differ from the family's own, as plain values."""
    return dict(_short(part.model_dump(mode="json", exclude_defaults=True, exclude_none=True)))


def _short(value: Any) -> Any:
    """Numbers to a tenth of a micron, as a person would write them."""
    if isinstance(value, float):
        return round(value, 4) + 0.0
    if isinstance(value, dict):
        return {k: _short(v) for k, v in value.items()}
    return [_short(v) for v in value] if isinstance(value, (list, tuple)) else value
