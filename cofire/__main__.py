"""What `cofire` and `python -m cofire` do: run the command line, and stop quietly when told to."""

import sys


def main() -> None:
    """Run the command line; an interrupt while it is loaded ends it with its status and no more."""
    try:
        from cofire.cli import run

        run()
    except KeyboardInterrupt:
        print("cofire: stopped", file=sys.stderr)
        sys.exit(130)


if __name__ == "__main__":
    main()
