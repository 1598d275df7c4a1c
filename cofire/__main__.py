"""What `cofire` and `python -m cofire` do: run the command line, and stop quietly when told to."""

import gc
import os
import sys


def _open_streams() -> None:
    """Put nothing in the place of standard streams that are closed, so that no file takes it."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w" if number else "r"))  # noqa: SIM115


def main() -> None:
    """Run the command line; an interrupt while it is loaded ends it with its status and no more."""
    _open_streams()
    gc.set_threshold(50_000)  # new objects between two searches for cycles: modules make many
    try:
        from cofire.cli import run

        run()
    except KeyboardInterrupt:
        print("cofire: stopped", file=sys.stderr)
        sys.exit(130)


if __name__ == "__main__":
    main()
