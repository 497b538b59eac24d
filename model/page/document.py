"""The HTML file itself: verdict first, then the data, then the viewer, all in one text that asks nothing of a network.

Owns the template's places, the escaping and the policy that the page holds a browser to. The viewer is one committed
file, `viewer.min.js`, built of `viewer/` as DEVELOPERS.md says.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from importlib import resources
from typing import Any

from elbowroom.model.page.packing import DEFLATE, Pack, packed_text

SIGNS = {"fits": "✓", "fails": "✖", "unknown": "?"}


def document(told: dict[str, Any], pack: Pack) -> str:
    """The page."""
    style, script = _file("viewer.css"), _file("viewer.min.js")
    policy = (
        f"default-src 'none'; script-src {_digest(script)}; style-src {_digest(style)}; img-src data:; "
        f"connect-src 'none'; base-uri 'none'; form-action 'none'"
    )
    values = {
        "policy": html.escape(policy),
        "title": html.escape(told["build"]),
        "said": html.escape(told["said"]),
        "sentence": html.escape(told["sentence"]),
        "verdict": told["verdict"],
        "sign": SIGNS[told["verdict"]],
        "style": style,
        "script": script,
        "contents": data_text(told),
        "meshes": pack.text(),
    }
    out = []
    for i, piece in enumerate(_file("page.html").split("{{")):  # one pass: what is put in is not looked through again
        name, closed, rest = piece.partition("}}")
        out.append(values[name] + rest if i and closed else piece)
    return "".join(out)


def data_text(told: dict[str, Any], level: int = DEFLATE) -> str:
    """The page's data for a script tag: base64 of deflated JSON, which holds no character that HTML knows."""
    text = json.dumps(told, separators=(",", ":"), sort_keys=True, ensure_ascii=True, allow_nan=False)
    return packed_text(text.encode("ascii"), level)


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _file(name: str) -> str:
    return resources.files("elbowroom.model.page").joinpath(name).read_text(encoding="utf-8")
