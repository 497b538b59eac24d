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
_OCCURRENCE = re.compile(r"(?<== NEXT_ASSEMBLY_USAGE_OCCURRENCE\()'\d+','([^']*)'")
_FOLD = re.compile(r"\n[ ]*(?!#\d+ = |[ ]|\Z)")  # a line broken for its length: where, depends on the lengths before
_NEGATIVE_ZERO = re.compile(r"(?<=[(,])-0\.(?=[,)])")  # solids read back from their file have other signs of zero
# What cannot stand as it is. As a directive: characters outside printable ASCII with any backslash and apostrophe after
# them, so that two directives never touch, nor one and an escaped backslash; and an apostrophe before `,` or `)`, where
# the kernel's reader would see the end of the text and lose the whole entity. The rest is doubled.
_UNFIT = re.compile(r"(?P<directive>[^ -~](?:[^ -~]|[\\'])*|'(?= *[,)]))|[\\']")
_SCHEMA = re.compile(r"FILE_SCHEMA\(\(.*?\)\);", re.DOTALL)
_STYLES = re.compile(r"^#(\d+) = MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION", re.MULTILINE)


def encoded(text: str) -> str:
    """`text` between quotes as ISO 10303-21 writes it: ASCII only, the rest as \\X2\\ or \\X4\\ runs."""
    return "'" + _UNFIT.sub(_fit, text.encode("utf-8", "replace").decode("utf-8")) + "'"


def _fit(match: re.Match[str]) -> str:
    characters = match["directive"]
    if characters is None:
        return match[0] * 2
    kind, width = ("X2", 4) if max(characters) <= "\uffff" else ("X4", 8)
    return f"\\{kind}\\{''.join(f'{ord(c):0{width}X}' for c in characters)}\\X0\\"


def canonical(raw: str, title: str, names: Mapping[str, str]) -> bytes:
    """The kernel's file made repeatable: fixed header, one line an entity, no negative zeros, occurrences numbered in
    file order, styles in order of the geometry they colour, and each quoted token in `names` replaced by its text.

    Raises ValueError where the text is not a STEP file of the expected make.
    """
    schema = _SCHEMA.search(raw)
    start, end = raw.find("DATA;\n"), raw.rfind("ENDSEC;")
    if schema is None or start < 0 or end < start:
        raise ValueError("not a STEP file")
    data = _FOLD.sub("", raw[start + len("DATA;\n") : end])
    data = _ordered_styles(_NEGATIVE_ZERO.sub("0.", data))
    count = 0

    def numbered(match: re.Match[str]) -> str:
        nonlocal count
        count += 1
        name = match[1]
        # The kernel's reader takes the id for the name where the name has no printable ASCII in it.
        readable = any("!" <= c <= "~" for c in names.get(name, name))
        return f"'{count if readable else name}','{name}'"

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
    tail = {int(m.group(1)): data[m.end() : end].rstrip("\n") for m, end in zip(starts, ends, strict=True)}
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
