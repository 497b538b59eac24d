"""What verdicts are called and which sign each has, wherever people read them.

Owns the words and signs alone; loads nothing, so that they can be shown at once.
"""

from __future__ import annotations

WHOLE = {"fits": "It fits", "fails": "It does not fit", "unknown": "Unknown whether it fits"}  # of a build
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
