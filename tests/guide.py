"""Write the table of fields into the guide: `python -m tests.guide`."""

from __future__ import annotations

from pathlib import Path

from cofire.report.forms import MARKS, format_markdown

GUIDE = Path(__file__).parents[1] / "DEVELOPERS.md"


def with_fields(text: str) -> str:
    """The guide with the table of fields as it stands now."""
    start, end = (text.index(mark) for mark in MARKS)
    return f"{text[:start]}{MARKS[0]}\n\n{format_markdown()}{text[end:]}"


if __name__ == "__main__":
    GUIDE.write_text(with_fields(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")
