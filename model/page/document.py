"""The HTML file itself: verdict first, then the data, then the viewer, all in one text that asks nothing of a network.

Owns the template's places, the escaping and the policy that the page holds a browser to. The viewer is one committed
file, `viewer.min.js`, built of `viewer/` as DEVELOPERS.md says. The page that `view` serves holds `live.min.js` beside
it, and may ask its own server; a file never does.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from collections.abc import Sequence
from importlib import resources
from typing import Any

from elbowroom.model.page.packing import DEFLATE, Pack, packed_text
from elbowroom.model.told.verdict_words import WHOLE_SIGN

WORDS = {"title": "build", "said": "said", "sentence": "sentence", "first": "first"}  # the template's, of the data


def document(told: dict[str, Any], pack: Pack) -> str:
    """The page."""
    return _page(
        {name: html.escape(told[key]) for name, key in WORDS.items()},
        told["verdict"], _file("viewer.css"), (_file("viewer.min.js"),), "'none'",
        {"contents": data_text(told), "meshes": pack.text()},
    )  # fmt: skip


def live_document(title: str) -> str:
    """The page without data, with the script that asks where it came from for them and for all that is done on it."""
    words = {"title": html.escape(title), "said": "Being checked", "sentence": "The first answer takes longest."}
    style = _file("viewer.css") + _file("live.css")
    scripts = (_file("viewer.min.js"), _file("live.min.js"))
    return _page(words | {"first": ""}, "unknown", style, scripts, "'self'", {"contents": "", "meshes": ""})


def _page(
    words: dict[str, str], verdict: str, style: str, scripts: Sequence[str], connect: str, data: dict[str, str]
) -> str:
    policy = (
        f"default-src 'none'; script-src {' '.join(map(_digest, scripts))}; style-src {_digest(style)}; "
        f"img-src data:; connect-src {connect}; base-uri 'none'; form-action 'none'"
    )
    values = words | data | {
        "policy": html.escape(policy),
        "verdict": verdict,
        "sign": WHOLE_SIGN[verdict],
        "style": style,
        "scripts": "\n".join(f"<script>{s}</script>" for s in scripts),
    }  # fmt: skip
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
