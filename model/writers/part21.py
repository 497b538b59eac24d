"""STEP files as text: the clear-text encoding of ISO 10303-21, and making a written file repeatable.

Owns the encoding of names, the fixed header, and the canonical order of what the kernel writes in an order of its own
(colours by memory address, occurrence numbers from a counter of the process). Drawing and structure are `step`'s.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

TIME_STAMP = "2000-01-01T00:00:00"  # the same build gives the same bytes, so no clock is read

_ENTITY = re.compile(r"^#(\d+) = ", re.MULTILINE)
_REFERENCE = re.compile(r"#(\d+)")
_OCCURRENCE = re.compile(r"(NEXT_ASSEMBLY_USAGE_OCCURRENCE\(\s*)'\d+'")
_SCHEMA = re.compile(r"FILE_SCHEMA\(\(.*?\)\);", re.DOTALL)
_STYLES = re.compile(r"^#(\d+) = MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION", re.MULTILINE)


def encoded(text: str) -> str:
    """`text` between quotes as ISO 10303-21 (clause 6.4.3) writes it: ASCII only, the rest as \\X2\\ or \\X4\\ runs."""
    out: list[str] = []
    page = ""  # the directive that is open
    for c in text.encode("utf-8", "replace").decode("utf-8"):
        code = ord(c)
        wanted = "" if 0x20 <= code < 0x7F else "X2" if code <= 0xFFFF else "X4"
        if wanted != page:
            out.append(("\\X0\\" if page else "") + (f"\\{wanted}\\" if wanted else ""))
            page = wanted
        if not wanted:
            out.append({"'": "''", "\\": "\\\\"}.get(c, c))
        else:
            out.append(f"{code:04X}" if wanted == "X2" else f"{code:08X}")
    return "'" + "".join(out) + ("\\X0\\" if page else "") + "'"


def canonical(raw: str, title: str, names: Mapping[str, str]) -> bytes:
    """The kernel's file made repeatable: fixed header, occurrences numbered in file order, styles in order of the
    geometry they colour, and each quoted token in `names` replaced by its text.

    Raises ValueError where the text is not a STEP file of the expected make.
    """
    schema = _SCHEMA.search(raw)
    start, end = raw.find("DATA;\n"), raw.rfind("ENDSEC;")
    if schema is None or start < 0 or end < start:
        raise ValueError("not a STEP file")
    data = raw[start + len("DATA;\n") : end]
    data = _ordered_styles(data)
    count = 0

    def numbered(match: re.Match[str]) -> str:
        nonlocal count
        count += 1
        return f"{match.group(1)}'{count}'"

    data = _OCCURRENCE.sub(numbered, data)
    if names:
        tokens = re.compile("|".join(re.escape(f"'{token}'") for token in sorted(names)))
        data = tokens.sub(lambda m: encoded(names[m.group()[1:-1]]), data)
    header = (
        "ISO-10303-21;\nHEADER;\n"
        "FILE_DESCRIPTION(('parametric assembly'),'2;1');\n"
        f"FILE_NAME({encoded(title)},'{TIME_STAMP}',(''),(''),'elbowroom','elbowroom','');\n"
        f"{schema.group()}\nENDSEC;\nDATA;\n"
    )
    return (header + data + "ENDSEC;\nEND-ISO-10303-21;\n").encode("ascii")


def _ordered_styles(data: str) -> str:
    """Entities of the trailing style block renumbered: roots by the geometry they colour, then what they refer to.

    The kernel walks a table of memory addresses, so that the same colours come out in another order in each process.
    """
    block = _STYLES.search(data)
    if block is None:
        return data
    first, begin = int(block.group(1)), block.start()
    starts = list(_ENTITY.finditer(data, begin))
    ends = [m.start() for m in starts[1:]] + [len(data)]
    tail = {int(m.group(1)): " ".join(data[m.end() : end].split()) for m, end in zip(starts, ends, strict=True)}
    refers = {n: [int(r) for r in _REFERENCE.findall(text)] for n, text in tail.items()}
    referred = {r for found in refers.values() for r in found}

    def geometry(number: int) -> tuple[int, ...]:
        """What a style says about the geometry before it: the numbers outside the block, depth first."""
        found: list[int] = []
        for r in refers[number]:
            if r in tail:
                found.extend(geometry(r))
            else:
                found.append(r)
        return tuple(found)

    roots = sorted((n for n in tail if n not in referred), key=geometry)
    order: dict[int, int] = {}

    def visit(number: int) -> None:
        if number in tail and number not in order:
            order[number] = first + len(order)
            for r in refers[number]:
                visit(r)

    for root in roots:
        visit(root)
    if len(order) != len(tail):
        raise ValueError("the style block of the STEP file refers to itself")
    lines = (
        f"#{new} = " + _REFERENCE.sub(lambda m: f"#{order.get(int(m.group(1)), int(m.group(1)))}", tail[old]) + "\n"
        for old, new in order.items()
    )
    return data[:begin] + "".join(lines)
