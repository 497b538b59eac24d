"""`elbowroom` and `python -m elbowroom`: the entry point, which answers Ctrl-C from its first moment on.

Owns nothing but that, and that no module is taken from the folder a build lies in: `python -m` looks there first, and
a `yaml.py` beside somebody's build would be run. The commands are `command.cli`'s, whose libraries take a
moment to load.
"""

import os
import sys


def main() -> None:
    """Run the command line and exit with its status."""
    try:
        _leave_out_the_current_folder()
        from elbowroom.model.command.cli import main as commands
    except KeyboardInterrupt:
        if sys.stderr is not None:
            print("stopped; nothing was half-written", file=sys.stderr, flush=True)
        os._exit(130)
    commands()


def _leave_out_the_current_folder() -> None:
    """Take the current folder off the module path, unless elbowroom or Python's own library lies in it.

    Too late only for a folder named `elbowroom` there and the few modules that `python -m` itself needs, which the
    command `elbowroom` does not take from it.
    """
    try:
        here = os.path.realpath(os.getcwd())
    except OSError:  # it is gone
        here = ""
    needed = {os.path.realpath(os.path.dirname(p)) for p in (os.__file__, os.path.dirname(os.path.abspath(__file__)))}
    sys.path[:] = [p for p in sys.path if os.path.isabs(p) and (os.path.realpath(p) != here or here in needed)]


if __name__ == "__main__":
    main()
