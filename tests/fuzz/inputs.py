"""Files as a slip of the hand, an editor or a broken disk leaves them: hypothesis strategies.

Each starts from files that are read without a complaint. Byte-level: stretches are cut, repeated,
replaced by what breaks readers, or taken from a file of another kind. Grammar-level: values, keys
and headers of a TOML file and cells of a table are replaced by others of their grammar; or a whole
file is composed of the words that its kind knows.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence

from hypothesis import strategies as st

Edit = Callable[[bytes], bytes]

NUMBERS = (
    "0", "1", "-1", "0.0", "-0.0", "1e-9", "1e-300", "1e300", "1e308", "1e309", "-1e309", "nan",
    "-nan",
    "inf", "-inf", "9" * 25, "1_000", "0x7fffffffffffffff", "9223372036854775808", "1e", "1.", ".5",
    "0.1", "0.5", "0.999999999", "1.0000001", "2", "3", "5", "8", "20", "25", "30", "60", "99.999",
    "100",
    "273.15", "-273.15", "-273.16", "400", "860", "1000", "1200", "1e4", "30000", "1e5", "1e6",
    "5000",
)  # fmt: skip
VALUES = (
    "true", "false", '""', '" "', "''", '"full"', '"air"', '"caution: x"', '"good"', "[]", "[[]]",
    "{}",
    "{a = 1}", "[1, 2]", "[2, 1]", "[1, 1]", "[[1, 2], [3, 4]]", '["a"]', "[nan]", "[1, inf]",
    "[true]",
    "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", '"+- 0.1"', '"5 %"', '"factor 2"',
    '"+- 1e400"',
    '"\\u0000"', '"\\u202e"', '"\\U0001F600"', '"é"', '"a\\nb"', '"""', '"../../etc"',
    '"/dev/zero"', '"."',
    '"/"', '"' + "x" * 300 + '"', '"fine silver + fritted body = 50"', '"fine silver"',
    '"talc body"',
    '"copper + talc body = 1e400"', '"copper + talc body = nan"', '"copper + = 3"', '"= 3"', '"+"',
    "[" * 300, '"outside"', '"flat"', '"free"', '"at least"', '"fixed"', '"cone"', "{x.y.z = 1}",
)  # fmt: skip
CELLS = (
    *NUMBERS, "", " ", "-", "---", "n/a", "NaN", "abc", "1,5", "1.234,5", "1 234,5", "12:30",
    "25:61",
    "23:59:59.999", "2026-03-06", "2026-03-06 20:00:00", "06.03.26 8:00 pm", "31/02/2026",
    "9999-12-31",
    "0001-01-01", "2062-01-01 00:00:00", "1e13", "20 °C", "70 °F", "300 K", '"', '""', '"a', "=1+1",
    "\t", ";", "\r", "\x00", "é", "٣", "１２", "½", "1e5000", "1" * 400, "x" * 5000, "+", "0" * 70,
    "time",
)  # fmt: skip
BREAKERS = (
    b"\x00", b"\xff", b"\xfe\xff", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\r\n", b"\n", b"\n\n",
    b"\t", b" ",
    b'"', b"'", b'"""', b"'''", b"\\", b"[", b"]", b"[[", b"]]", b"{", b"}", b"=", b",", b".",
    b";", b"#",
    b"\x1b[31m", b"\xc3", b"\xe2\x80\xae", b"\xf0\x9f\x98\x80", b"1" * 5000, b"1e400", b"nan",
    b"inf",
    b"[" * 2000, b"a." * 200, b"{" * 500, b'{"a":' * 500, b"x" * 3000, b" " * 2000, b"," * 500,
    b"\n" * 500,
    b"1" + b" " * 1000 + b"x", b"null", b"true", b"-", b"+", b"e", b"0x", b"1:1:1",
    b"9999-12-31T23:59:59Z",
)  # fmt: skip

places = st.integers(0, (1 << 16) - 1)


def at(place: int, size: int) -> int:
    """A place between 0 and a size, evenly for sizes up to 65536."""
    return place * (size + 1) >> 16 if size < 1 << 16 else place % (size + 1)


# -- bytes -----------------------------------------------------------------------------------------


def spliced(place: int, length: int, new: bytes) -> Edit:
    """Something else in the place of a stretch."""

    def edit(text: bytes) -> bytes:
        start = at(place, len(text))
        return text[:start] + new + text[start + length :]

    return edit


def repeated(place: int, length: int, times: int) -> Edit:
    """A stretch several times over."""

    def edit(text: bytes) -> bytes:
        start = at(place, len(text))
        part = text[start : start + length]
        return text[:start] + part * times + text[start + length :]

    return edit


def lines_moved(first: int, second: int, how: str) -> Edit:
    """A line taken out, doubled, or changed over with another."""

    def edit(text: bytes) -> bytes:
        lines = text.split(b"\n")
        a, b = at(first, len(lines) - 1), at(second, len(lines) - 1)
        if how == "out":
            del lines[a]
        elif how == "twice":
            lines.insert(b, lines[a])
        else:
            lines[a], lines[b] = lines[b], lines[a]
        return b"\n".join(lines)

    return edit


def recoded(encoding: str) -> Edit:
    """The same text in another encoding."""
    return lambda text: text.decode("utf-8", "replace").encode(encoding, "replace")


def byte_edits(others: Sequence[bytes]) -> st.SearchStrategy[Edit]:
    """Edits that know nothing of the file's form."""
    stretches = st.sampled_from((0, 0, 1, 1, 2, 5, 20, 100, 1000, 100_000))
    foreign = st.builds(
        lambda text, place, length: text[at(place, len(text)) :][:length],
        st.sampled_from(others), places, st.sampled_from((5, 50, 500)),
    )  # fmt: skip
    new = st.one_of(st.sampled_from(BREAKERS), st.binary(max_size=4), foreign, st.just(b""))
    return st.one_of(
        st.builds(spliced, places, stretches, new),
        st.builds(
            repeated, places, st.sampled_from((1, 5, 50, 500)), st.sampled_from((2, 3, 20, 200))
        ),
        st.builds(lines_moved, places, places, st.sampled_from(("out", "twice", "over"))),
        st.builds(
            recoded, st.sampled_from(("utf-16", "utf-16-le", "cp1252", "utf-8-sig", "utf-32"))
        ),
    )


# -- grammars --------------------------------------------------------------------------------------

PAIR = re.compile(rb"(?m)^([ \t]*)([^\n=#\[\]]+?)([ \t]*=[ \t]*)([^\n]*)$")
HEADER = re.compile(rb"(?m)^\[+[^\]\n]+\]+")
FIGURE = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


def numbers() -> st.SearchStrategy[str]:
    """Numbers as TOML and tables write them."""
    return st.one_of(
        st.sampled_from(NUMBERS),
        st.integers(-10, 3000).map(str),
        st.floats(-10.0, 2000.0).map(lambda x: f"{x:.4g}"),
        st.floats(allow_nan=False, allow_infinity=False).map(repr),
    )


def values() -> st.SearchStrategy[str]:
    """What may stand behind an equals sign."""
    listed = st.lists(numbers(), max_size=5).map(lambda items: f"[{', '.join(items)}]")
    return st.one_of(numbers(), st.sampled_from(VALUES), listed)


def nth(pattern: re.Pattern[bytes], place: int, group: int, new: bytes) -> Edit:
    """Another text in the place of one match of a pattern."""

    def edit(text: bytes) -> bytes:
        found = list(pattern.finditer(text))
        if not found:
            return text
        low, high = found[at(place, len(found) - 1)].span(group)
        return text[:low] + new + text[high:]

    return edit


def toml_edits(words: Sequence[str], headers: Sequence[str]) -> st.SearchStrategy[Edit]:
    """Edits that keep to the grammar of TOML."""
    coded = values().map(str.encode)
    keys = st.sampled_from(words).map(str.encode)
    heads = st.sampled_from(headers).map(str.encode)
    return st.one_of(
        st.builds(lambda p, v: nth(PAIR, p, 4, v), places, coded),
        st.builds(lambda p, v: nth(FIGURE, p, 0, v), places, numbers().map(str.encode)),
        st.builds(lambda p, k: nth(PAIR, p, 2, k), places, keys),
        st.builds(lambda p: nth(PAIR, p, 0, b""), places),
        st.builds(lambda p, h: nth(HEADER, p, 0, h), places, heads),
        st.builds(
            lambda p, k, v: nth(PAIR, p, 0, k + b" = " + v + b"\n"), places, keys, coded
        ),
    )  # fmt: skip


def scaled(place: int, factor: float) -> Edit:
    """One number of a TOML file several times as large, or as small."""

    def edit(text: bytes) -> bytes:
        found = [m for m in PAIR.finditer(text) for m in FIGURE.finditer(text, *m.span(4))]
        if not found:
            return text
        low, high = found[at(place, len(found) - 1)].span()
        return text[:low] + b"%.6g" % (factor * float(text[low:high])) + text[high:]

    return edit


def numbers_moved(seeds: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """Files whose form is right and whose numbers are not."""
    factors = st.one_of(
        st.sampled_from((0.0, 0.1, 0.5, 0.8, 0.95, 1.05, 1.25, 2.0, 10.0, 1000.0, -1.0)),
        st.floats(0.01, 100.0),
    )
    return edited(seeds, st.builds(scaled, places, factors))


def composed(words: Sequence[str], headers: Sequence[str]) -> st.SearchStrategy[bytes]:
    """A TOML file of words that its kind knows."""
    pairs = st.lists(
        st.tuples(st.sampled_from(words), values()), max_size=6, unique_by=lambda pair: pair[0]
    )
    tables = st.lists(st.tuples(st.sampled_from(headers), pairs), max_size=6)

    def written(top: list[tuple[str, str]], parts: list[tuple[str, list[tuple[str, str]]]]) -> str:
        lines = [f"{key} = {value}" for key, value in top]
        for header, given in parts:
            lines += [header, *(f"{key} = {value}" for key, value in given)]
        return "\n".join(lines) + "\n"

    return st.builds(written, pairs, tables).map(lambda text: text.encode("utf-8", "replace"))


def cell_edits() -> st.SearchStrategy[Edit]:
    """Edits that keep to rows and cells."""

    def cell(row: int, column: int, new: str) -> Edit:
        def edit(text: bytes) -> bytes:
            lines = text.split(b"\n")
            n = at(row, len(lines) - 1)
            mark = b";" if lines[n].count(b";") > lines[n].count(b",") else b","
            cells = lines[n].split(mark)
            cells[column % len(cells)] = new.encode("utf-8", "replace")
            lines[n] = mark.join(cells)
            return b"\n".join(lines)

        return edit

    def without(column: int) -> Edit:
        def edit(text: bytes) -> bytes:
            rows = [line.split(b",") for line in text.split(b"\n")]
            return b"\n".join(b",".join(r[:column] + r[column + 1 :]) for r in rows)

        return edit

    contents = st.one_of(st.sampled_from(CELLS), numbers(), st.text(max_size=5))
    small = st.integers(0, 5)
    return st.one_of(
        st.builds(cell, places, small, contents),
        st.builds(cell, st.just(0), small, contents),
        st.builds(without, small),
        st.builds(
            lambda old, new: lambda text: text.replace(old, new),
            st.sampled_from((b",", b";", b".", b"\n", b" ", b":")),
            st.sampled_from((b",", b";", b"\t", b".", b"\r", b"\r\n", b"|", b"", b"  ")),
        ),
    )


def tables() -> st.SearchStrategy[bytes]:
    """A table of any cells under likely names."""
    names = st.sampled_from(
        ("time_s", "time_min", "time_h", "Time", "date", "temperature_C", "Temp °F", "TC1",
        "kiln_C",
         "z_mm", "r_mm", "wall_mm", "strain_percent", "strain_ppm", "cone", "rate_C_per_h", "chart",
         "seen", "segment", "why", "", "1")
    )  # fmt: skip
    cells = st.one_of(st.sampled_from(CELLS), numbers())
    return st.builds(
        lambda head, rows, mark, end: (
            end.join([mark.join(head), *(mark.join(row) for row in rows)]) + end
        ).encode("utf-8", "replace"),
        st.lists(names, min_size=1, max_size=4),
        st.lists(st.lists(cells, min_size=1, max_size=4), max_size=12),
        st.sampled_from((",", ";", "\t", " ", ", ")),
        st.sampled_from(("\n", "\r\n", "\r")),
    )


def edited(seeds: Sequence[bytes], edits: st.SearchStrategy[Edit]) -> st.SearchStrategy[bytes]:
    """A file that is read, with one to three edits."""

    def apply(text: bytes, changes: list[Edit]) -> bytes:
        for change in changes:
            text = change(text)[:1_200_000]
        return text

    return st.builds(apply, st.sampled_from(seeds), st.lists(edits, min_size=1, max_size=3))


def words_of(seeds: Sequence[bytes]) -> tuple[list[str], list[str]]:
    """Keys and headers of TOML files."""
    keys = {m[2].decode("utf-8", "replace") for text in seeds for m in PAIR.finditer(text)}
    headers = {m[0].decode("utf-8", "replace") for text in seeds for m in HEADER.finditer(text)}
    return sorted(keys) or ["name"], sorted(headers) or ["[name]"]


def toml_files(seeds: Sequence[bytes], others: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """Files that should be TOML of one kind."""
    words, headers = words_of(seeds)
    grammar = toml_edits(words, headers)
    return st.one_of(
        edited(seeds, grammar),
        edited(seeds, grammar),
        edited(seeds, byte_edits(others)),
        composed(words, headers),
        st.binary(max_size=60),
    )


def csv_files(seeds: Sequence[bytes], others: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """Files that should be tables of one kind."""
    return st.one_of(
        edited(seeds, cell_edits()),
        edited(seeds, cell_edits()),
        edited(seeds, byte_edits(others)),
        tables(),
        st.binary(max_size=60),
    )


def json_files(seeds: Sequence[bytes], others: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """Files that should be JSON, one value or one a line."""
    words = ("null", "true", "{}", "[]", '""', '"no"', '"go"', "NaN", "Infinity", "-1", "1e999")
    tokens = st.one_of(numbers(), st.sampled_from(words)).map(str.encode)
    value = re.compile(rb'(?<=:)\s*("[^"]*"|[-\d.eE+]+|null|true|false|\[\]|\{\})')
    key = re.compile(rb'"[^"]*"(?=:)')
    grammar = st.one_of(
        st.builds(lambda p, v: nth(value, p, 0, v), places, tokens),
        st.builds(lambda p: nth(key, p, 0, b'"other"'), places),
    )
    return st.one_of(
        edited(seeds, grammar), edited(seeds, byte_edits(others)), st.binary(max_size=60)
    )


NAMES = (
    "fine silver", "fritted body", "copper", "talc body", "copper + talc body = 40", "silver", "",
    " ", "x" * 90, "a\nb", 'a"b', "a\\b", "é", "\U0001f600", "\u202e", "\x00", "= 3", "../x",
    "air", "carbon",
    "small studio kiln", "laboratory furnace", "cylinder", "cone", "bowl", "belly", "flat",
    "strength = 62, 10 %", "strength = nan, 10 %", "strength = 62, x", "density = 1, +- 1",
    "young_modulus = 70, factor 1.2", "100.1, 95.5, 87.2", "95.5, 87.2", "0, 0, 0", "1, 2, 3",
    "9" * 400 + ", 1", "1", "#", "]", "'''", '"""',
)  # fmt: skip
OPTIONS = {
    "vessel": ("below", "above", "middle", "middle-mm", "form", "height-mm", "radius-mm",
               "rim-radius-mm", "wall-mm", "joint-mm", "floor", "layer-mm", "nozzle-mm",
               "dead-volume-ml", "kiln", "gas", "name"),
    "firing": ("peak-C", "hold-min", "rate-C-per-h", "kiln", "gas", "name"),
    "kiln": ("name", "max-C", "like"),
    "material": ("like", "name", "own"),
    "measured": ("material", "peak-C", "hold-min", "rate-C-per-h", "bar"),
    "record": ("piece", "prediction", "firing"),
}  # fmt: skip
NEEDED = {
    "vessel": ("--below=fine silver", "--above=fritted body"),
    "material": ("--like=fritted body",), "measured": ("--material=copper",),
    "record": ("--piece=bowl",),
}  # fmt: skip
"""Options without which nothing is written."""
USUAL = {
    "below": ("fritted body",), "above": ("copper",), "middle": ("fine silver", "gold"),
    "form": ("cylinder", "cone", "bowl", "belly"), "kiln": ("laboratory furnace",),
    "gas": ("air", "inert", "carbon", "hydrogen"), "like": ("copper", "laboratory furnace"),
    "own": ("strength = 62, 10 %",), "bar": ("100.1, 95.5, 87.2",), "material": ("talc body",),
}  # fmt: skip


def options() -> st.SearchStrategy[bytes]:
    """What may stand behind `cofire new`, as JSON."""

    def one(name: str) -> st.SearchStrategy[str]:
        if name == "floor":
            return st.just("--floor")
        value = st.one_of(numbers(), st.sampled_from((*NAMES, *USUAL.get(name, ()) * 20)))
        return value.map(lambda text: f"--{name}={text}")

    def of(kind: str) -> st.SearchStrategy[list[str]]:
        given = st.lists(st.sampled_from(OPTIONS[kind]), max_size=5, unique=True)
        drawn = given.flatmap(lambda names: st.tuples(*map(one, names)))
        return drawn.map(lambda some: [kind, *NEEDED.get(kind, ()), *some])

    return st.sampled_from(sorted(OPTIONS)).flatmap(of).map(lambda x: json.dumps(x).encode())
