"""The tracked exports are what the tool writes today for the demo builds, so they cannot go stale.

Made by the one command in DEVELOPERS.md. Numbers may differ in their last digits between processors, names and verdicts
may not.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import fromstring

import pytest

from elbowroom.model import demos, pictures, pipeline
from elbowroom.model.store import Store
from elbowroom.model.writers import write

EXPORTS = Path(__file__).parents[1] / "exports"
SAME = 1e-3  # mm: far below what anything here is measured to, far above rounding on another processor


def alike(a: Any, b: Any) -> bool:
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(alike(a[k], b[k]) for k in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(alike, a, b))
    if isinstance(a, (int, float)) and isinstance(b, (int, float)) and not isinstance(a, bool):
        return abs(a - b) <= SAME
    return type(a) is type(b) and a == b


MEASURE = ("measured", "low", "high", "volume_mm3", "depth_mm")
ANY = {"text", "where", "place", "remedies", "basis", *MEASURE}  # of several nearest places any may be named


def settled(report: dict[str, Any]) -> dict[str, Any]:
    """Findings by id, without what may be told in more than one sound way."""
    report["findings"] = {f["id"]: {k: v for k, v in f.items() if k not in ANY} for f in report["findings"]}
    return report


def consistent(a: list[dict[str, Any]], b: list[dict[str, Any]]) -> bool:
    """Whether the numbers of two reports can be true at once: a cache may hold a narrower interval of a pair."""
    other = {f["id"]: f for f in b}
    for one in a:
        two = other[one["id"]]
        slack = SAME + one["basis"]["bound"] + two["basis"]["bound"]
        if (one["measured"] is None) != (two["measured"] is None):
            return False
        if one["measured"] is not None and abs(one["measured"] - two["measured"]) > slack:
            return False
        if None not in (one["low"], two["high"]) and one["low"] > two["high"] + SAME:
            return False
        if None not in (two["low"], one["high"]) and two["low"] > one["high"] + SAME:
            return False
    return True


def document(data: bytes) -> dict[str, Any]:
    length = struct.unpack("<I", data[12:16])[0]
    found: dict[str, Any] = json.loads(data[20 : 20 + length])
    return found


PICTURES = {
    "view-open": lambda c: pictures.of_view(c, "open"),
    "exploded": lambda c: pictures.of_parts(c, Store.default()),
    "section-interference-pump-lid-radiator-frame": lambda c: pictures.of_finding(
        c, "interference:pump/lid~radiator/frame"
    ),
    "screw-radiator-b": lambda c: pictures.of_finding(
        c, next(f.id for f in c.findings if f.question == "screw" and "radiator" in f.parts)
    ),
}


def words(svg: bytes) -> list[str]:
    return ["".join(e.itertext()) for e in fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


@pytest.mark.slow
@pytest.mark.demos
def test_tracked_pictures_say_what_the_tool_draws_today() -> None:
    folder = EXPORTS / "skiff-planned" / "pictures"
    planned = next(p for p, _ in demos.pairs() if demos.slug(p) == "skiff-planned")
    checked = pipeline.check(planned, Store.default())
    assert {p.stem for p in folder.iterdir()} == set(PICTURES)
    for name, draw in PICTURES.items():
        drawn = draw(checked)
        assert drawn.name == name
        assert words(drawn.svg) == words((folder / f"{name}.svg").read_bytes())
        size = struct.unpack(">II", (folder / f"{name}.png").read_bytes()[16:24])  # width and height in a PNG's header
        assert size == struct.unpack(">II", drawn.png()[16:24])


@pytest.mark.slow
@pytest.mark.demos
@pytest.mark.parametrize("name", demos.names())
def test_what_is_tracked_is_what_the_tool_writes(name: str, tmp_path: Path) -> None:
    folder = EXPORTS / f"{name}-mended"
    kept = {p.name: p.read_bytes() for p in folder.iterdir()}
    planned, mended = next(pair for pair in demos.pairs() if demos.slug(pair[1]) == folder.name)
    checked = pipeline.check(mended, Store.default())
    formats = {"report.json": "json", "bom.csv": "bom", "assembly.glb": "glb"}
    write(checked.scene, checked.findings, tmp_path, [formats[n] for n in kept], store=Store.default())
    made = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    assert set(made) == set(kept)
    assert made["bom.csv"].decode().count("\n") == kept["bom.csv"].decode().count("\n")
    ours, theirs = json.loads(made["report.json"]), json.loads(kept["report.json"])
    assert {f["id"] for f in ours["findings"]} == {f["id"] for f in theirs["findings"]}
    assert consistent(ours["findings"], theirs["findings"])
    assert alike(settled(ours), settled(theirs))
    if "assembly.glb" in kept:
        ours, theirs = document(made["assembly.glb"]), document(kept["assembly.glb"])
        assert [n["name"] for n in ours["nodes"]] == [n["name"] for n in theirs["nodes"]]
        assert len(ours["meshes"]) == len(theirs["meshes"])
    assert planned.is_file()


def test_every_demo_has_its_exports_and_they_stay_small() -> None:
    mended = {f"{n}-mended" for n in demos.names()}
    assert {p.name for p in EXPORTS.iterdir() if p.is_dir()} == {"skiff-planned"} | mended
    assert sum(p.stat().st_size for p in EXPORTS.rglob("*") if p.is_file()) < 8_000_000  # bytes
