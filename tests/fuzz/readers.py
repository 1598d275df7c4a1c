"""Every kind of file, its real reader, and what must hold whatever the file says.

Nothing but a `CofireError` leaves a reader; its message is one line of at most 300 characters that
names the file; no reader takes longer than 5 s; and neither what was read nor what is printed of it
holds a nan.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
import signal
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np
from hypothesis import strategies as st
from typer.testing import CliRunner

from cofire.assessment.cautions import cautions
from cofire.assessment.check import check_vessel
from cofire.assessment.mismatch import mismatch
from cofire.assessment.screening import screen
from cofire.cli import app
from cofire.cli.evidence import _entry
from cofire.cli.job import planned_reasons, vessel_file
from cofire.cli.materials import describe
from cofire.design.constraints import bounds, broken, refuse_without_place, with_room
from cofire.design.fired_size import in_fired_size
from cofire.design.grid import layouts, neighbours
from cofire.design.starting import started
from cofire.design.transition import zones
from cofire.errors import CofireError, UnknownName
from cofire.evidence.learning import outcomes_of
from cofire.evidence.measured import read_measured
from cofire.evidence.record import compare, outcome_entry, read_form
from cofire.files import bundled_tables, read_json, read_toml
from cofire.firing.cones import read_cones
from cofire.firing.kiln import trace
from cofire.firing.log import read_firing_log
from cofire.firing.program import (
    check_kilns,
    find_kiln,
    load_kilns,
    read_firing,
    read_kiln,
    simple_firing,
)
from cofire.materials.binders import read_reactions
from cofire.materials.catalogue import (
    check_files,
    load_cards,
    read_card,
    remarks_on_files,
)
from cofire.materials.pairs import check_pairs, joint_resistance, liquids, read_pairs
from cofire.mechanics.meridian import mesh_meridian
from cofire.physics.blends import find_material
from cofire.report.figures import mismatch_csv
from cofire.report.firing import as_csv, as_text, kiln_csv
from cofire.report.forms import Wish, new_vessel
from cofire.report.pairs import as_csv as pairs_csv
from cofire.report.pairs import as_json as pairs_json
from cofire.report.pairs import as_text as pairs_text
from cofire.report.read_again import bands_csv, firing_csv, firing_toml, planned_vessel
from cofire.report.record import (
    append_many,
    compare_json,
    compare_text,
    encoded,
    harm_text,
    read_record,
    show_text,
)
from cofire.report.verdict import as_json as verdict_json
from cofire.report.verdict import as_text as verdict_text
from cofire.report.writing import one_line
from cofire.sweeps import _Asked, _looked_at, _rows
from cofire.units import HOUR, kelvin
from cofire.vessel_file import read_vessel
from tests.fuzz.inputs import csv_files, json_files, numbers_moved, options, toml_files
from tests.made import COARSE

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES, TABLES = ROOT / "examples", Path(str(bundled_tables()))
SECONDS = 5.0
LONGEST = 300
NAN = re.compile(r"(?<![\w.])-?nan(?!\w)", re.IGNORECASE)
Files = Mapping[str, bytes]


class Slow(BaseException):
    """A reader took longer than it may."""


class Wrong(AssertionError):
    """A property does not hold; the first line says which, without the input's own words."""


@contextmanager
def timed(seconds: float = SECONDS) -> Iterator[None]:
    """Ends what takes longer than so much time of the processor."""

    def stop(number: int, frame: FrameType | None) -> None:
        raise Slow

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def nan_in(thing: Any, place: str = "") -> str | None:
    """Where in a thing that was read there is a nan, or None."""
    if isinstance(thing, float):
        return place or "it" if math.isnan(thing) else None
    if isinstance(thing, np.ndarray):
        return place if thing.dtype.kind == "f" and np.isnan(thing).any() else None
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        parts = [(f.name, getattr(thing, f.name)) for f in dataclasses.fields(thing)]
    elif isinstance(thing, dict):
        parts = [(str(key)[:20], value) for key, value in thing.items()]
    elif isinstance(thing, list | tuple):
        parts = [("", value) for value in thing]
    else:
        return None
    found = (nan_in(value, f"{place}.{name}") for name, value in parts)
    return next((f for f in found if f), None)


def clean(text: str, what: str, given: Files) -> None:
    """Refuse a nan in what is printed, unless the file itself has the word."""
    if NAN.search(text) and not any(b"nan" in content.lower() for content in given.values()):
        raise Wrong(f"nan in {what}")


def one_message(line: str, names: Iterable[str]) -> None:
    """Refuse a message that is no help: more than a line, too long, without its place."""
    if len(line.splitlines()) != 1 or not line.strip():
        raise Wrong(f"a message of {len(line.splitlines())} lines")
    if len(one_line(line)) > LONGEST:
        raise Wrong(f"a message of too many characters: {re.sub('.*[/]', '', line)[:60]}")
    if not any(name in line for name in names):
        raise Wrong(f"a message without its place: {line[:80]}")


# -- the readers: each is given the folder and the files in it -------------------------------------


@cache
def kilns() -> Any:
    """Those shipped."""
    return load_kilns()


@cache
def cards() -> Any:
    """Those shipped."""
    return load_cards()


def card(folder: Path, files: Files) -> object:
    """A material card: read, checked, remarked upon, described."""
    path = folder / "card.toml"
    for line in (*check_files([path]), *remarks_on_files([path])):
        one_message(line, files)
    found = read_card(path)
    clean(describe(found), "the description of a card", files)
    return found


def kiln(folder: Path, files: Files) -> object:
    """A kiln, and what it does of a firing."""
    path = folder / "kiln.toml"
    for line in check_kilns([path]):
        one_message(line, files)
    found = read_kiln(read_toml(path), str(path))
    find_kiln(found.name, {found.name: found}, str(path))
    table = {"kiln": found.name, "segment": [{"to_C": 190, "rate_C_per_h": 100, "hold_min": 10}]}
    firing = read_firing(table, {found.name: found}, str(path))
    curve = trace(firing)
    clean(as_text(firing, curve) + as_csv(curve), "the trace", files)
    return found, curve


def firing(folder: Path, files: Files) -> object:
    """A firing: what kiln and ware do, and the file that cofire writes of it."""
    found = read_firing(folder / "firing.toml", kilns())
    curve = trace(found)
    clean(as_text(found, curve) + as_csv(curve), "the trace", files)
    again = folder / "again.toml"
    again.write_text(firing_toml(found, kilns()), encoding="utf-8")
    same = read_firing(again, kilns())
    if len(same.segments) != len(found.segments) or same.gases != found.gases:
        raise Wrong("a firing that is written is not read as it was")
    rows = kiln_csv(found, "F")
    clean(rows, "the kiln's table", files)
    return found, curve, [curve.ware[node] for node in curve.hottest_in.values()]


def vessel(folder: Path, files: Files) -> object:
    """A vessel: its mesh, its materials, and the files that a plan writes of it."""
    path = folder / "vessel.toml"
    found = read_vessel(path, kilns())
    for band in found.bands:
        try:
            find_material(band.material, cards())
        except CofireError as error:
            if len(one_line(str(error))) > LONGEST:
                raise Wrong(f"a message of {len(str(error))} characters: material") from None
    try:
        mesh = mesh_meridian(
            found.radius, found.height, found.wall, found.steps, corners=found.corners
        )
    except CofireError as error:  # the command puts the file in front
        raise type(error)(f"{path}: {error}") from None
    clean(bands_csv(found) + firing_csv(found.firing), "a table of the vessel", files)
    below = folder / "again"
    below.mkdir(exist_ok=True)
    (below / "firing.toml").write_text(firing_toml(found.firing, kilns()), encoding="utf-8")
    for name, text in planned_vessel(path, found, path.parent).items():
        (below / name).write_text(text, encoding="utf-8")
    if len(read_vessel(below / "vessel.toml", kilns()).bands) != len(found.bands):
        raise Wrong("a vessel that is written is not read as it was")
    return found, mesh


def limits(folder: Path, files: Files) -> object:
    """What a plan may do to the joint of a vessel: every layout that it would begin from."""
    path = folder / "vessel.toml"
    with placed(path):
        given = started(read_vessel(path, kilns()), cards())
        metal, ceramic, _ = zones(given, cards())
        found = in_fired_size(with_room(given, metal, ceramic), metal, ceramic)
        refuse_without_place(found)
        told = bounds(found)
    clean(" ".join(told), "the limits", files)
    some = layouts(found)
    for layout in (*some, *(near for one in some[:2] for near in neighbours(found, one))):
        if broken(found, layout):
            raise Wrong(f"a layout breaks {broken(found, layout)[0]}")
    return told, some


def pairs(folder: Path, files: Files) -> object:
    """The table of pairs, asked of shipped cards."""
    path = folder / "pairs.toml"
    for line in check_pairs(path):
        one_message(line, files)
    found = read_pairs(path)
    some = [cards()[name] for name in ("fine silver", "copper", "fritted body", "talc body")]
    held = [joint_resistance(*pair, found) for pair in combinations(some, 2)]
    own = [replace(card, pairs=found) for card in some]
    return found, held, [liquids(own, gas) for gas in ("air", "carbon")]


def swept(folder: Path, files: Files) -> object:
    """A table of cases: every row a case, or why it is none."""
    path = folder / "table.csv"
    columns, *_ = _looked_at(path)
    asked = _Asked(folder, columns, None, (), 0, False, False)
    jobs = [asked.job(row) for row in _rows(path)]
    for one in jobs:
        if one.case is None and len(one.why.splitlines()) != 1:
            raise Wrong(f"a reason of {len(one.why.splitlines())} lines")
    return [one.case for one in jobs]


READ = {"firing": read_firing, "kiln": read_kiln, "vessel": read_vessel, "measured": read_measured}


def newly(folder: Path, files: Files) -> object:
    """A file that `cofire new` begins, from options given as JSON: read as it is written."""
    kind, *rest = json.loads(files["options.json"])
    out = folder / "begun.toml"
    out.unlink(missing_ok=True)
    told = CliRunner().invoke(app, ["new", kind, *rest, f"--out={out}"])
    if told.exit_code not in (0, 2, 3):
        raise told.exception or Wrong(f"status {told.exit_code}")
    lines = [line for line in told.stderr.splitlines() if line.startswith("cofire: ")]
    if any(len(line) > LONGEST for line in lines):
        raise Wrong("a message of more than 300 characters")
    if told.exit_code:
        if out.exists():
            raise Wrong("a refused file was written")
        if told.exit_code == 3 and (
            len(lines) != 1 or told.stdout or lines != told.stderr.split("\n")[:-1]
        ):
            raise Wrong(f"a refusal of {len(told.stderr.splitlines())} lines")
        return None
    clean(out.read_text(encoding="utf-8"), f"a new {kind}", files)
    if kind == "measured" and b"--bar" not in files["options.json"]:
        return None  # its bars are yet to be measured
    if kind == "kiln":
        return read_kiln(read_toml(out), str(out))
    if kind in READ:
        return READ[kind](out, kilns())
    if kind == "material":
        for line in check_files([out]):
            raise Wrong(f"a new card is refused: {line[-60:]}")
        return load_cards([folder])
    return read_form(read_toml(out), str(out)) if b"--firing" in files["options.json"] else None


def log(folder: Path, files: Files) -> object:
    """A log, as it is and as a kiln's."""
    path = folder / "log.csv"
    found = read_firing_log(path)
    return found, read_firing_log(path, thermocouple="kiln", lag=600.0).trace


def measured(folder: Path, files: Files) -> object:
    """What was measured, curves and logs beside it."""
    return read_measured(folder / "measured.toml", kilns())


def record(folder: Path, files: Files) -> object:
    """A record: read, shown, compared, and added to."""
    path = folder / "record.jsonl"
    kept = read_record(path)
    for line in harm_text(kept, str(path)):
        one_message(line, files)
    found = compare(kept.entries)
    text = show_text(kept.entries) + compare_text(found) + compare_json(found)
    clean(text, "the comparison", files)
    json.loads(compare_json(found), parse_constant=_refuse)
    append_many(path, [outcome_entry("bowl", "sound")])
    after = read_record(path).entries
    if len(after) != len(kept.entries) + 1 or list(after[:-1]) != list(kept.entries):
        raise Wrong("adding to a record changed what stood in it")
    return kept


def entries(folder: Path, files: Files) -> object:
    """A record whose entries are whole, and say anything."""
    path = folder / "record.jsonl"
    lines = b""
    with placed(folder / "entries.json"):
        for line in files["entries.json"].splitlines():
            try:
                entry = read_json(line)
            except ValueError:
                continue
            if isinstance(entry, dict):
                lines += encoded(entry)
    path.write_bytes(lines)
    outcomes_of(read_record(path).entries, "bowl")
    return record(folder, {"record.jsonl": lines})


def plan(folder: Path, files: Files) -> object:
    """A plan's folder: its vessel, firing, reasons and verdict."""
    found = read_vessel(vessel_file(folder), kilns())
    entry = _entry(folder, None, None, {})
    encoded({"piece": "bowl"} | entry)
    return found, planned_reasons(folder, found.firing), entry


def prediction(folder: Path, files: Files) -> object:
    """A verdict as JSON, on its way into a record."""
    entry = _entry(folder / "check.json", None, None, {})
    encoded({"piece": "bowl"} | entry)
    return entry


def binders(folder: Path, files: Files) -> object:
    """The table of burnout."""
    return [read_reactions(folder / "binders.toml", gas) for gas in ("air", "inert")]


def cones(folder: Path, files: Files) -> object:
    """The table of cones."""
    return read_cones(folder / "cones.csv")


def _refuse(word: str) -> None:
    raise Wrong(f"{word} in JSON")


def card_used(folder: Path, files: Files) -> object:
    """A card screened with a partner and drawn along a firing."""
    found = read_card(folder / "card.toml")
    partner = cards()["fritted body" if found.kind == "metal" else "fine silver"]
    pair = (found, partner) if found.kind == "metal" else (partner, found)
    oven = kilns()["laboratory furnace"]
    with placed(folder / "card.toml"):
        pairs = screen([pair[0]], [pair[1]], oven, ("air", "carbon"))
        clean(
            pairs_text(pairs, oven.name, every=True)
            + pairs_json(pairs, oven.name, ("air", "carbon"))
            + pairs_csv(pairs),
            "the screening", files,
        )  # fmt: skip
        along = simple_firing(oven, kelvin(850.0), 1800.0, 150.0 / HOUR)
        m = mismatch(*pair, along, True)
        clean(mismatch_csv(m), "the mismatch", files)
    return pairs, m.difference, m.cooled


def firing_used(folder: Path, files: Files) -> object:
    """A firing under which two zones are drawn."""
    found = read_firing(folder / "firing.toml", kilns())
    with placed(folder / "firing.toml"):
        m = mismatch(cards()["fine silver"], cards()["fritted body"], found, True)
        clean(mismatch_csv(m), "the mismatch", files)
        if len(set(found.gases)) > 1:
            m = mismatch(cards()["copper"], cards()["talc body"], found, True)
            clean(mismatch_csv(m), "the mismatch", files)
    return m.difference, m.cooled


def vessel_checked(folder: Path, files: Files) -> object:
    """A vessel fired and judged, coarsely."""
    found = read_vessel(folder / "vessel.toml", kilns())
    with placed(folder / "vessel.toml"):
        checked = check_vessel(found, cards(), extend=True, control=COARSE)
        told = cautions(checked.printed)
        clean(verdict_text(checked, told), "the verdict", files)
        json.loads(verdict_json(checked, told), parse_constant=_refuse)
    return None


@contextmanager
def placed(path: Path) -> Iterator[None]:
    """What is computed of a file complains of its name, its property or its zone; add the file."""
    try:
        yield
    except UnknownName as error:
        raise error.at(path.name) from None
    except CofireError as error:
        raise type(error)(f"{path.name}: {error}") from None


# -- one property for all --------------------------------------------------------------------------


@dataclass(frozen=True, repr=False)
class Kind:
    """A kind of file.

    Attributes
    ----------
    read
        Reads it from the folder.
    whole
        Files that are read without a complaint, by name.
    drawn
        The file among them that is drawn, and from what.
    seconds
        Longest that it may take.
    share
        How many of them are drawn for one of the others.
    """

    read: Callable[[Path, Files], object]
    whole: Files
    drawn: Mapping[str, st.SearchStrategy[bytes]]
    seconds: float = SECONDS
    share: float = 1.0

    @property
    def name(self) -> str:
        """By which what was read is counted."""
        return f"{self.read.__name__} {' '.join(self.drawn)}"


ACCEPTED: Counter[str] = Counter()
"""Inputs that were read, by reader and the files drawn."""


def violation(kind: Kind, folder: Path, files: Files) -> str | None:
    """What property these files break, or None."""
    for name, content in files.items():
        (folder / name).write_bytes(content)
    try:
        with timed(kind.seconds), warnings.catch_warnings():
            warnings.simplefilter("error")  # a warning on the terminal is no answer
            found = kind.read(folder, files)
        ACCEPTED[kind.name] += 1
    except CofireError as error:
        try:
            one_message(str(error), [*files, str(folder)])
        except Wrong as wrong:
            return str(wrong)
        return None
    except Wrong as wrong:
        return str(wrong)
    except Slow as slow:
        return f"over {kind.seconds:g} s in {_deepest(slow)}"
    except Exception as error:
        return f"{type(error).__name__} in {_deepest(error)}"
    place = nan_in(found)
    return f"nan in {place}" if place else None


def _deepest(error: BaseException) -> str:
    """The last line of cofire that an error went through."""
    frames = [f for f in traceback.extract_tb(error.__traceback__) if "/cofire/" in f.filename]
    own = [f for f in frames if "/tests/" not in f.filename]
    return f"{Path(own[-1].filename).name}:{own[-1].lineno} {own[-1].name}" if own else "the test"


def _bytes(path: Path) -> bytes:
    return path.read_bytes()


VERDICT = {
    "schema": 1, "cofire": "0", "vessel": "bowl", "verdict": "no", "decided_by": "joint crack",
    "flags": [
        {"rule": "joint crack", "zone": "a / b", "verdict": "no", "utilisation": 1.7},
        {"rule": "slump", "zone": "a", "verdict": "go", "utilisation": 0.3},
    ],
    "uncertainty": {"sound": {"p": 0.2, "low": 0.1, "high": 0.4},
                    "not_lost": {"p": 0.3, "low": 0.2, "high": 0.5}, "samples": 50, "seed": 1},
}  # fmt: skip


ENTRIES: list[dict[str, Any]] = [
    {"kind": "prediction", "piece": "bowl", "vessel": "bowl", "verdict": "no", "sound": 0.2,
     "not_lost": 0.3,
     "decided_by": "x", "utilisation": 1.7, "flags": [], "by": "cofire 0"},
    {"kind": "firing", "piece": "bowl", "firing": "860 °C", "peak_C": 860.0, "hours": 20.0,
     "logged": False, "gas": "air, then carbon", "kiln": "small studio kiln"},
    outcome_entry("bowl", "cracked", "20 mm up", "cold", "a note"),
]  # fmt: skip


def _record() -> bytes:
    """A record of two pieces."""
    return b"".join(encoded(entry) for entry in ENTRIES)


@cache
def kinds() -> dict[str, Kind]:
    """Every kind of file by name."""
    all_cards = [_bytes(p) for p in sorted(TABLES.glob("*/*.toml")) if p.parent.name != "kilns"]
    all_kilns = [_bytes(p) for p in sorted(TABLES.glob("kilns/*.toml"))]
    firings = [_bytes(p) for p in sorted(EXAMPLES.glob("*_firing.toml"))]
    profile = _bytes(EXAMPLES / "silver_rim_profile.csv")
    logged = _bytes(EXAMPLES / "silver_foot_log.csv")
    short = b"\n".join(logged.split(b"\n")[:2] + logged.split(b"\n")[2::12]) + b"\n"
    plain = b"time_s,temperature_C\n" + b"".join(
        b"%d,%.1f\n" % (600 * n, 20 + 8 * min(n, 200 - n)) for n in range(201)
    )
    days = b"Date,Time,Kiln F\n" + b"".join(
        b"03/%02d/2026,%02d:%02d:00 %s,%.1f\n"
        % (6 + n // 96, (n // 4 % 24 - 1) % 12 + 1, 15 * (n % 4), (b"AM", b"PM")[n // 48 % 2],
           68 + 15 * min(n, 96 - n))
        for n in range(97)
    )  # fmt: skip
    bars = _bytes(EXAMPLES / "measured_fritted_body.toml")
    curve = _bytes(EXAMPLES / "measured_fritted_body_curve.csv")
    with_log = b'material = "fritted body"\n[[firing]]\nname = "a"\nlog = "log.csv"\n' + (
        b'bars_mm = [[100, 95, 86]]\nunit = "C"\n[[dilatometer]]\ncsv = "curve.csv"\nbody = "raw"\n'
        b"rate_C_per_h = 300\n"
    )
    bars = bars.replace(b"measured_fritted_body_curve.csv", b"curve.csv")
    raw = b"time_min,temperature_C,strain_ppm\n" + b"".join(
        b"%d,%d,%d\n" % (3 * n, 20 + 10 * n, 60 * n) for n in range(40)
    )
    pots = [_bytes(p) for p in sorted(EXAMPLES.glob("*.toml")) if b"[[band]]" in _bytes(p)]
    pots = [re.sub(rb'(csv|firing) = "[^"]*\.(csv|toml)"', rb'\1 = "\1.\2"', text) for text in pots]
    points = (
        b'name = "p"\nfiring = "firing.toml"\n[profile]\n'
        b"points_mm = [[0, 20], [20, 26], [50, 24]]\n"
        b'wall_mm = 4\n[[band]]\nmaterial = "copper"\nto_mm = 12\nheight = "fixed"\n[[band]]\n'
        b'material = "talc body"\n[joint]\nblends = 2\nheight_mm = 12\nlowest_mm = 5\nkeep_mm = 3\n'
        b"[printer]\nlayer_mm = 0.3\ndead_volume_ml = 2\ntanks = 3\nnozzle_mm = 0.8\n[paste]\n"
        b'waste_percent = 15\nscale_g = 0.1\n[prices]\ncurrency = "EUR"\n'
        b"per_kWh = 0.3\nkiln_kW = 3\n"
        b"[prices.per_kg]\ncopper = 20\n"
    )
    pots = [*pots, points]
    beside = {"firing.toml": firings[0], "csv.csv": profile, "profile.csv": profile}
    with_profile = next(text for text in pots if b'"csv.csv"' in text)
    turns = (
        b'name = "two gases"\n[profile]\nshape = "cylinder"\nheight_mm = 40\nradius_mm = 25\n'
        b'wall_mm = 3\n[[band]]\nmaterial = "copper"\nto_mm = 12\n[[band]]\n'
        b'material = "copper + talc body = 50"\nto_mm = 18\n[[band]]\nmaterial = "talc body"\n'
        b"[joint]\nblends = 3\nheight_mm = 12\nkeep_mm = 8\n[printer]\nlayer_mm = 0.3\n"
        b"dead_volume_ml = 2\n[free]\ndead_volume_ml = [1, 8]\nwall_mm = [1.5, 3.5]\n[firing]\n"
        b'lag_min = 30\nsegment = [{to_C = 480, rate_C_per_h = 60, hold_min = 60, gas = "air"}, '
        b'{to_C = 40, rate_C_per_h = "full"}, {to_C = 1035, rate_C_per_h = 120, hold_min = 45, '
        b'gas = "carbon"}, {to_C = 540, rate_C_per_h = 60}]\n'
    )
    begun = [
        new_vessel(Wish(form, form, "fine silver", "fritted body", floor=form == "bowl")).encode()
        for form in ("cylinder", "cone", "bowl", "belly")
    ]
    begun.append(
        new_vessel(
            Wish("banded", "cylinder", *["fritted body"] * 2, joint=35.0, middle="fine silver",
                 middle_height=10.0, printer={"layer_mm": 0.3}, gas="air")
        ).encode()
    )  # fmt: skip
    pots = [*pots, turns, *begun]
    verdict = json.dumps(VERDICT, indent=1).encode()
    kept = _record()
    table = b'segment,rate_C_per_h,to_C,hold_min,why\n1,60,110,60,"slow"\n2,60,420,60,"steam"\n'
    listed, cases = (
        _bytes(TABLES / "pairs.toml"),
        (
            b"vessel,peak_C,hold_min,wall_mm,metal,sample,label\n"
            b"vessel.toml,,,,,,as given\nvessel.toml,840,30,2.5,copper,3,\nvessel.toml,,,,,1,a\n"
        ),
    )
    said = b"\n".join(json.dumps(one).encode() for one in (*ENTRIES, {"kind": "outcome",
           "piece": "bowl 0.5", "outcome": "sound"})) + b"\n"  # fmt: skip
    binder, cone = _bytes(TABLES / "binders.toml"), _bytes(TABLES / "cones.csv")
    others = [all_cards[0], firings[0], pots[0], profile, short, verdict, kept, bytes(range(256))]

    def tomls(seeds: list[bytes]) -> st.SearchStrategy[bytes]:
        return toml_files(seeds, others)

    def csvs(seeds: list[bytes]) -> st.SearchStrategy[bytes]:
        return csv_files(seeds, others)

    pot = {**beside, "vessel.toml": pots[0]}
    bars_and_curve = {"measured.toml": with_log, "curve.csv": curve, "log.csv": plain}
    folder = {**pot, "firing.csv": table, "plan.json": verdict}
    return {
        "card": Kind(card, {"card.toml": all_cards[0]}, {"card.toml": tomls(all_cards)}),
        "kiln": Kind(kiln, {"kiln.toml": all_kilns[0]}, {"kiln.toml": tomls(all_kilns)}),
        "firing": Kind(firing, {"firing.toml": firings[0]}, {"firing.toml": tomls(firings)}),
        "vessel": Kind(vessel, pot, {"vessel.toml": tomls(pots), "firing.toml": tomls(firings)}),
        "profile": Kind(
            vessel, {**pot, "vessel.toml": with_profile}, {"csv.csv": csvs([profile])}
        ),
        "log": Kind(log, {"log.csv": plain}, {"log.csv": csvs([short, plain, days])}),
        "measured": Kind(measured, bars_and_curve, {"measured.toml": tomls([bars, with_log])}),
        "curve": Kind(
            measured, bars_and_curve, {"curve.csv": csvs([curve, raw]), "log.csv": csvs([plain])}
        ),
        "record": Kind(
            record, {"record.jsonl": kept}, {"record.jsonl": json_files([kept], others)}
        ),
        "entries": Kind(
            entries, {"entries.json": said}, {"entries.json": json_files([said], others)}
        ),
        "limits": Kind(
            limits, pot,
            {"vessel.toml": st.one_of(tomls(pots), *[numbers_moved(pots)] * 3)},
            seconds=20.0, share=0.5,
        ),
        "pairs": Kind(pairs, {"pairs.toml": listed}, {"pairs.toml": tomls([listed])}, share=0.5),
        "sweep table": Kind(
            swept, {**pot, "table.csv": cases}, {"table.csv": csvs([cases])}, share=0.5
        ),
        "new": Kind(
            newly, {"options.json": b'["vessel", "--below=copper", "--above=talc body"]'},
            {"options.json": options()}, share=0.5,
        ),
        "prediction": Kind(
            prediction, {"check.json": verdict}, {"check.json": json_files([verdict], others)}
        ),
        "plan folder": Kind(
            plan, folder,
            {"firing.csv": csvs([table]), "plan.json": json_files([verdict], others),
             "vessel.toml": tomls(pots), "firing.toml": tomls(firings)},
        ),
        "binders": Kind(binders, {"binders.toml": binder}, {"binders.toml": tomls([binder])}),
        "card used": Kind(
            card_used, {"card.toml": all_cards[0]}, {"card.toml": numbers_moved(all_cards)},
            share=0.25,
        ),
        "firing used": Kind(
            firing_used, {"firing.toml": firings[0]}, {"firing.toml": numbers_moved(firings)},
            share=0.25,
        ),
        "vessel checked": Kind(
            vessel_checked, pot, {"vessel.toml": numbers_moved(pots)}, seconds=60.0, share=0.1
        ),
        "cones": Kind(cones, {"cones.csv": cone}, {"cones.csv": csvs([cone])}),
    }  # fmt: skip


def inputs(kind: Kind) -> st.SearchStrategy[tuple[str, bytes]]:
    """One of the files of a kind, drawn, and its name."""
    drawn = [st.tuples(st.just(name), drawn) for name, drawn in kind.drawn.items()]
    return st.deferred(lambda: st.one_of(drawn))  # whose repr is short
