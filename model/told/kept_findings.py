"""Findings as bytes, for what is kept in the cache.

Owns the form alone: every field of a finding in a fixed order, as JSON. It loads nothing but the finding itself, so
that reading a kept answer costs no kernel.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from elbowroom.model.told.findings import Basis, Finding
from elbowroom.model.told.particulars import packed, unpacked


def pack(findings: Sequence[Finding]) -> bytes:
    return json.dumps(
        [
            [f.question, f.verdict, f.parts, f.text, f.bodies, f.measured, f.unit, f.required, f.low, f.high, f.where,
             [f.basis.method, f.basis.bound, f.basis.assumed], f.remedies, f.extra, f.place,
             packed(f.about), f.cause, f.effects, f.take_care, f.spot, f.joint_face, f.short]
            for f in findings
        ]
    ).encode()  # fmt: skip


def unpack(data: bytes) -> list[Finding]:
    """Raises ValueError, TypeError or IndexError where the bytes are not those of `pack`."""
    out = []
    for row in json.loads(data):
        q, v, parts, text, bodies, measured, unit, required, low, high, where, basis, remedies, extra, *rest = row
        place, about, cause, effects, care, spot, face, short = rest
        assumed = tuple((name, tuple(fields)) for name, fields in basis[2])
        out.append(
            Finding(
                q, v, tuple(parts), text, tuple(bodies), measured, unit, required, low, high,
                tuple((p[0], p[1], p[2]) for p in where), Basis(basis[0], basis[1], assumed), tuple(remedies),
                tuple((k, value) for k, value in extra), place, unpacked(about), cause,
                tuple(effects), tuple(care), spot, face, short,
            )
        )  # fmt: skip
    return out
