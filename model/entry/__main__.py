"""`elbowroom` and `python -m elbowroom`: the entry point, which answers Ctrl-C from its first moment on.

Owns nothing but that: the commands are `elbowroom.model.cli`'s, whose libraries take a moment to load.
"""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Run the command line and exit with its status."""
    try:
        from elbowroom.model.cli import main as commands
    except KeyboardInterrupt:
        if sys.stderr is not None:
            print("stopped; nothing was half-written", file=sys.stderr, flush=True)
        os._exit(130)
    commands()


if __name__ == "__main__":
    main()
