"""What screws, nuts and washers are sold as: heads, lengths and their tolerance, engagement, look-alikes, driver room.

Owns these tables with the source and mark of each row, and their look-up by thread. Lengths in millimetres, torque in
newton metres. Leaves threads and clearance holes to `vocabulary.threads`, drawing to `screw.screw`, and
whether a screw of some length is safe in some stack to `elbowroom.model`.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from elbowroom.parts.fan.layers import ISO_7089
from elbowroom.parts.vocabulary.base import Mark
from elbowroom.parts.vocabulary.threads import THREADS, thread
from elbowroom.parts.vocabulary.tolerances import ALIKE

Style = Literal["cap", "pan", "button"]
INCH = 25.4  # mm
FAN_SCREW = "fan-screw"
"""Name of the thread-forming screw that cuts its way into the plain holes of a fan's frame; no standard thread."""

_PRACTICE = "common practice, no source"
ROOT_LESS = 0.2  # mm in diameter: what a screw is drawn thinner than a bore drawn at the minor diameter; P


@dataclass(frozen=True, slots=True)
class Cited:
    """Where a row comes from: source and evidence mark."""

    source: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class Shank:
    """A screw below its head: `major` diameter, `pitch`, and the diameter its threaded length is drawn at, mm."""

    major: float
    pitch: float
    drawn: float
    cited: Cited


FAN_SCREW_LEAST = 4.0  # mm of a fan's frame that the screw must hold by: a thin flange (P)
# A fan screw: nominal 5, into a 4.3 hole; coarse thread. Drawn to stand clear of that hole like any other screw.
_FAN_SHANK = Shank(major=5.0, pitch=2.0, drawn=4.3 - ROOT_LESS, cited=Cited(_PRACTICE, "P"))
SCREW_THREADS: tuple[str, ...] = (*(name for name, t in THREADS.items() if t.clearance), FAN_SCREW)


def shank(name: str) -> Shank:
    """The shank of a screw; KeyError, naming the nearest and all known, for what is no screw's thread."""
    if name == FAN_SCREW:
        return _FAN_SHANK
    if name not in SCREW_THREADS:
        hint = "".join(f"did you mean {n}? " for n in difflib.get_close_matches(name.upper(), SCREW_THREADS, n=1))
        raise KeyError(f"no screw has the thread '{name}'; {hint}known: {', '.join(SCREW_THREADS)}")
    found = thread(name)
    return Shank(found.major, found.pitch, found.minor - ROOT_LESS, Cited(*found.sources["major"]))


@dataclass(frozen=True, slots=True)
class Head:
    """A head's greatest diameter and height, mm."""

    diameter: float
    height: float
    cited: Cited


_ISO_4762 = Cited("ISO 4762, knurled head (transcribed by public code)", "C")
_B18_3 = Cited("ASME B18.3: 0.226 by 0.138 in (transcribed by public code)", "C")
_ISO_7045 = Cited("ISO 7045, the head of ISO 14583 (transcribed by public code)", "C")
# The 0.103 in that public code gives for the same size is the head with a square recess.
_B18_6_3 = Cited("ASME B18.6.3, pan head with cross recess: 0.270 by 0.097 in", "V")
_ISO_7380 = Cited("ISO 7380-1 (transcribed by public code)", "C")
_CAP = {"M2.5": (4.68, 2.5), "M3": (5.68, 3.0), "M4": (7.22, 4.0), "M5": (8.72, 5.0)}
_PAN = {"M2.5": (5.0, 2.1), "M3": (5.6, 2.4), "M4": (8.0, 3.1), "M5": (9.5, 3.7)}
_BUTTON = {"M3": (5.7, 1.65), "M4": (7.6, 2.2), "M5": (9.5, 2.75)}
HEADS: Mapping[Style, Mapping[str, Head]] = {
    "cap": {name: Head(*row, _ISO_4762) for name, row in _CAP.items()}
    | {"6-32": Head(0.226 * INCH, 0.138 * INCH, _B18_3)},
    "pan": {name: Head(*row, _ISO_7045) for name, row in _PAN.items()}
    | {"6-32": Head(0.270 * INCH, 0.097 * INCH, _B18_6_3), FAN_SCREW: Head(8.0, 2.0, Cited(_PRACTICE, "P"))},
    "button": {name: Head(*row, _ISO_7380) for name, row in _BUTTON.items()},
}


def head(style: Style, name: str) -> Head:
    """The head of a screw; KeyError, naming the styles there are, where there is none of that style for the thread."""
    try:
        return HEADS[style][name]
    except KeyError:
        known = [s for s, rows in HEADS.items() if name in rows]
        raise KeyError(f"no {style} head is known for a {name} screw; known: {', '.join(known) or 'none'}") from None


@dataclass(frozen=True, slots=True)
class NutSize:
    """A hexagon nut: greatest height, and width across the flats, mm."""

    height: float
    across: float
    cited: Cited


_ISO_4032 = Cited("ISO 4032 (transcribed by public code)", "C")
_INCH_NUT = Cited("ASME B18.6.3 machine screw nut: 5/16 in across, 0.114 in high", "M")
NUTS: Mapping[str, NutSize] = {
    "M2.5": NutSize(2.0, 5.0, _ISO_4032),
    "M3": NutSize(2.4, 5.5, _ISO_4032),
    "M4": NutSize(3.2, 7.0, _ISO_4032),
    "M5": NutSize(4.7, 8.0, _ISO_4032),
    "6-32": NutSize(0.114 * INCH, 0.3125 * INCH, _INCH_NUT),
}


def nut(name: str) -> NutSize:
    """The nut of a thread; KeyError, naming those there are, where none is known."""
    if name not in NUTS:
        raise KeyError(f"no nut is known for {name}; known: {', '.join(NUTS)}")
    return NUTS[name]


@dataclass(frozen=True, slots=True)
class WasherSize:
    """A plain washer: hole, outer diameter, nominal thickness and its ±, mm."""

    inner: float
    outer: float
    thickness: float
    plus_minus: float
    cited: Cited


# The ± is the greatest thickness (transcribed by public code, C) less the nominal one (M).
_WASHER_SPREAD = {"M2.5": 0.05, "M3": 0.05, "M3.5": 0.05, "M4": 0.1, "M5": 0.1}
_ISO_7089 = Cited("ISO 7089; nominal thickness from memory", "M")
WASHERS: Mapping[str, WasherSize] = {
    name: WasherSize(*ISO_7089[name], _WASHER_SPREAD[name], _ISO_7089) for name in ("M2.5", "M3", "M4", "M5")
} | {
    name: WasherSize(*ISO_7089[size], _WASHER_SPREAD[size], Cited(f"ISO 7089 of size {size}: common practice", "P"))
    for name, size in (("6-32", "M3.5"), (FAN_SCREW, "M5"))
}


def washer(name: str) -> WasherSize:
    """The plain washer of a screw's thread; KeyError for what is no screw's thread."""
    shank(name)
    return WASHERS[name]


@dataclass(frozen=True, slots=True)
class Stock:
    """Lengths below the head that are sold, mm: `first` are easy to buy, `second` are to be had."""

    first: tuple[float, ...]
    second: tuple[float, ...]

    def all(self) -> tuple[float, ...]:
        """Every length, shortest first."""
        return tuple(sorted({*self.first, *self.second}))


def _inches(*lengths: str) -> tuple[float, ...]:
    return tuple(float(sum(map(Fraction, text.split()))) * INCH for text in lengths)


# First choice: ISO 4762 lengths, C (transcribed by public code). Second choice: P, sold by some.
METRIC = Stock((4, 5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50), (18, 22, 28, 32))
# The same list goes on, C; up to where a tolerance of length is known. That thin screws of these lengths are to be had,
# if not in every shop, is common practice, no source: P.
LONG = Stock(METRIC.first, (*METRIC.second, 55, 60, 65, 70, 80, 90, 100, 110, 120))
# P, both. The whole millimetres are what radiators with this thread are sold with.
INCHES = Stock(
    _inches("1/4", "3/8", "1/2", "5/8", "3/4", "1", "1 1/4", "1 1/2"),
    tuple(sorted((*_inches("3/16", "5/16", "7/16", "7/8", "1 1/8", "1 3/8"), 5.0, 20.0, 30.0, 35.0))),
)
FAN_SCREWS = Stock((10.0,), ())  # P


def stock(name: str) -> Stock:
    """Lengths a screw of that thread is sold in; KeyError for what is no screw's thread."""
    shank(name)
    return {FAN_SCREW: FAN_SCREWS, "6-32": INCHES, "M2.5": METRIC}.get(name, LONG)


# ISO 4762 and ISO 7045 share one series of nominal lengths in these diameters, V (ISO 4762: data in bd_warehouse) up to
# 50; the longer ones, and 14, which ISO 7045 puts in brackets as to be avoided, M.
PREFERRED = (2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0,
             70.0, 80.0, 90.0, 100.0, 110.0, 120.0)  # fmt: skip


def odd(name: str, length: float) -> str:
    """How to come by a length that is not commonly sold; empty for one that is. Metric threads have a preferred series
    (`PREFERRED`); of the others the lengths in `stock` count. KeyError for what is no screw's thread.
    """
    usual = stock(name).all() if name in ("6-32", FAN_SCREW) else PREFERRED
    if any(abs(length - n) < ALIKE for n in usual):
        return ""
    longer = next((n for n in usual if n > length), None)
    cut = "" if longer is None else f", cut down from {designation(name, longer)}"
    return f"odd length: not commonly stocked{cut}"


def designation(name: str, length: float) -> str:
    """How a screw is asked for: "M3 x 30", "6-32 x 1 1/4 in", "fan screw 5 x 10"."""
    if name == FAN_SCREW:
        return f"fan screw {_FAN_SHANK.major:g} x {length:g}"
    sixteenths = length / INCH * 16
    if name != "6-32" or abs(sixteenths - round(sixteenths)) > ALIKE:
        return f"{name} x {length:g}{' mm' if name == '6-32' else ''}"
    whole, part = divmod(Fraction(round(sixteenths), 16), 1)
    return f"{name} x {' '.join(str(n) for n in (whole, part) if n)} in"


# (to and including, IT15), mm: ISO 286-2.
_IT15 = ((3.0, 0.40), (6.0, 0.48), (10.0, 0.58), (18.0, 0.70), (30.0, 0.84), (50.0, 1.00), (80.0, 1.20), (120.0, 1.40))
LENGTH_TOLERANCE = Cited("ISO 4759-1 product grade A: js15; 6-32 also ASME B18.3 and B18.6.3", "M")


def length_tolerance(name: str, length: float) -> tuple[float, float]:
    """What a screw may be shorter and longer than its nominal length, mm: js15, half of IT15 each way.

    6-32 screws are made to inch standards (none longer, up to 1 in 0.03 in shorter, beyond that 0.06 in) or to metric
    ones, and nobody says to which: the wider counts. ValueError for lengths not above 0 or beyond 120.
    """
    it15 = next((it for to, it in _IT15 if 0 < length <= to), None)
    if it15 is None:
        raise ValueError(f"no length tolerance is known for a screw {length:g} mm long; known: above 0, up to 120")
    half = it15 / 2
    if name != "6-32":
        return half, half
    return max(half, (0.03 if length <= INCH else 0.06) * INCH), half


_GUIDES = Cited("rule of design guides for the material of the tapped hole", "V")
_SOFTEST = Cited("the safe end of the design guides' 2 to 2.5 diameters for plastic: common practice", "P")
# Least engagement in diameters, by the material that the thread is cut in.
ENGAGEMENT: Mapping[str, tuple[float, Cited]] = {
    "steel": (1.0, _GUIDES),
    "brass": (1.5, _GUIDES),
    "nickel": (1.5, Cited("nickel-plated brass, taken as brass: common practice", "P")),
    "copper": (2.0, Cited("taken as aluminium: common practice", "P")),
    "aluminium": (2.0, _GUIDES),
    "plastic": (2.0, _GUIDES),
    "acrylic": (2.5, _SOFTEST),
    "printed": (2.5, _SOFTEST),
}


@dataclass(frozen=True, slots=True)
class DriverRoom:
    """The straight path a driver needs over a head, mm."""

    diameter: float
    length: float
    cited: Cited


DRIVER = DriverRoom(8.0, 120.0, Cited(_PRACTICE, "P"))


@dataclass(frozen=True, slots=True)
class Torque:
    """Greatest tightening torque, N m, of a thread (None: any) into some material."""

    thread: str | None
    into: str
    most: float
    cited: Cited


TORQUES: tuple[Torque, ...] = (
    Torque("6-32", "aluminium or brass, at least 3.5 threads", 0.86, Cited("tightening table, title not kept", "M")),
    Torque("M3", "full thread, stainless A2-70", 0.9, Cited("tightening table, title not kept", "M")),
    Torque(None, "printed plastic", 0.5, Cited(_PRACTICE, "P")),
)

BARELY = 0.2  # of a thread's height: a screw that catches less is felt to be loose; P
LOOK_ALIKE = 0.6  # mm: threads whose major diameters differ by no more are mixed up in a drawer of screws; P


def look_alikes(name: str) -> Mapping[str, str]:
    """Screws easily taken for one of thread `name`, and what happens with each in a hole of that thread.

    Only standard threads have any. KeyError for what is no screw's thread.
    """
    own = shank(name)
    others = [] if name == FAN_SCREW else [t for t in SCREW_THREADS if t not in (name, FAN_SCREW)]
    return {t: _misfit(name, t) for t in others if abs(shank(t).major - own.major) <= LOOK_ALIKE}


def _misfit(hole: str, screw: str) -> str:
    """What a screw does in a tapped hole of the wrong thread, from the two threads' numbers."""
    h, s = THREADS[hole], THREADS[screw]
    pitches = f"{s.pitch:.3g} mm a turn against {h.pitch:.3g}"
    if s.major > h.major:
        return f"{s.major - h.major:.2f} mm too thick ({pitches}): it binds within a turn and ruins the thread"
    bites = max(0.0, (s.major - h.minor) / (h.major - h.minor))
    if bites < BARELY:
        return f"catches {bites:.0%} of the thread's height: it drops in nearly loose and holds nothing"
    return f"catches {bites:.0%} of the thread's height ({pitches}): it feels tight, then strips"
