"""What verdicts and questions are called and which sign each verdict has, wherever people read them.

Owns the words and signs alone; loads nothing, so that they can be shown at once.
"""

from __future__ import annotations

WHOLE = {"fits": "It fits", "fails": "It does not fit", "unknown": "Unknown whether it fits"}  # of a build
WHOLE_SIGN = {"fits": "✓", "fails": "✖", "unknown": "?"}
# A word and a sign each, so that no verdict is told by colour alone.
SIGN = {
    "clash": "✖", "fail": "✖", "touch": "=", "tight": "<", "unknown": "?", "caution": "!", "clear": "✓", "pass": "✓",
}  # fmt: skip
WORDS = {
    "clash": "collides",
    "fail": "does not work",
    "touch": "touches",
    "tight": "too near",
    "unknown": "unknown",
    "caution": "look at it",
    "clear": "clear",
    "pass": "fine",
}
QUESTIONS = {
    "interference": "parts in each other",
    "clearance": "gaps",
    "keep-out": "room to keep free",
    "mate": "parts that stand on each other",
    "containment": "inside the case",
    "hole-alignment": "holes in line",
    "screw": "screws",
    "tool-access": "room for the driver",
    "cut": "sheets to cut",
    "port-reach": "getting at ports",
    "loop": "the loop",
    "tube": "tubes",
    "coolant": "coolant",
    "height": "heights",
    "air": "air",
    "part": "the part itself",
    "slot": "slots",
}
