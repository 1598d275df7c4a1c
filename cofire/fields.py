"""Every field of the files a person writes: unit, bounds, default and what it does, in one table.

The readers take names, bounds, defaults and words from here; `cofire new`, its help and the guide
print the same. A field that is not here cannot be read, and one that is here is explained.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

Value = float | str | None

RECORD_FILE = "cofire-record.jsonl"
"""Where the record of pieces is kept, unless a command says otherwise."""


@dataclass(frozen=True)
class Field:
    """One field as a file has it.

    Attributes
    ----------
    meaning
        What it says or does, without a full stop.
    unit
        As written in the file; empty for texts and lists of names.
    least, most
        Bounds of a number, in that unit.
    default
        Taken where the field is left out; None where it is needed, or depends on other fields.
    otherwise
        What counts where it is left out and `default` cannot say.
    words
        All that are allowed, for a field that is one of a few words.
    example
        As TOML, for a new file.
    """

    meaning: str
    unit: str = ""
    least: float = float("-inf")
    most: float = float("inf")
    default: Value = None
    otherwise: str = ""
    words: tuple[str, ...] = ()
    example: str = ""

    @property
    def shown(self) -> str:
        """A value as TOML, to stand in a new file: the example, the default, or what is allowed."""
        if self.example:
            return self.example
        if isinstance(self.default, str):
            return f'"{self.default}"'
        if self.default is not None:
            return f"{self.default:g}"
        if self.words:
            return f'"{self.words[0]}"'
        return f"{self.least:g}" if self.least > float("-inf") else '""'

    @property
    def needed(self) -> bool:
        """Whether a file must have it."""
        return self.default is None and not self.otherwise

    @property
    def allowed(self) -> str:
        """Bounds or words, as a person reads them; empty where anything goes."""
        if self.words:
            return " or ".join(f'"{word}"' for word in self.words)
        low, high = self.least > float("-inf"), self.most < float("inf")
        if low and high:
            return f"{self.least:g} to {self.most:g}"
        return f"{self.least:g} or more" if low else ""

    @property
    def left_out(self) -> str:
        """What counts where a file does not have it."""
        if self.otherwise:
            return self.otherwise
        if isinstance(self.default, str):
            return f'"{self.default}"' if self.default else "nothing"
        return "needed" if self.default is None else f"{self.default:g}"


Table = Mapping[str, Field]


@dataclass(frozen=True)
class Section:
    """One table of a file.

    Attributes
    ----------
    heading
        As TOML has it; empty for what stands above all tables.
    meaning
        What the table is for.
    fields
        By name, in the order a file has them.
    """

    heading: str
    meaning: str
    fields: Table


def _table(**fields: Field) -> Table:
    return MappingProxyType(fields)


MM = "mm"
MOST_BANDS = MOST_SEGMENTS = 60
MOST_POINTS = 2000
"""Most tables [[band]] and [[segment]], and most points of a profile: more is a slip of the pen."""
GASES = ("air", "inert", "carbon", "hydrogen")
SUMMARY = Field("one line about it", default="")
NOTE = Field("for yourself; nothing reads it", otherwise="nothing")

# ----------------------------------------------------------------------------------------------
# A vessel

VESSEL = _table(
    name=Field("shown in every output, at most 80 characters", example='"cup on a silver foot"'),
    summary=SUMMARY,
    firing=Field(
        "file of its firing, beside this one; or write the firing here as [firing]",
        otherwise="the pair's own window in your kiln",
        example='"firing.toml"',
    ),
    tables=Field(
        "folder of your own tables, seen from this file, or a list of folders",
        otherwise="the shipped tables alone, and those that a command is given",
        example='["my_tables"]',
    ),
    profile=Field("the table [profile]", example="{}"),
    band=Field("the tables [[band]]", example="[]"),
    printer=Field("the table [printer]", otherwise="common practice; no changeover is counted"),
    joint=Field("the table [joint]", otherwise="as the bands are written"),
    paste=Field("the table [paste]", otherwise="common practice"),
    prices=Field("the table [prices]", otherwise="no prices"),
    free=Field("the table [free]", otherwise="a plan chooses nothing but joint and firing"),
)
PROFILE = _table(
    shape=Field(
        "a straight wall; else give points_mm or csv",
        words=("cylinder", "cone"),
        otherwise="points_mm or csv",
        example='"cylinder"',
    ),
    height_mm=Field(
        "foot to rim; with shape", MM, 5.0, 2000.0, otherwise="needed with shape", example="80"
    ),
    radius_mm=Field(
        "at the foot; with shape", MM, 5.0, 2000.0, otherwise="needed with shape", example="35"
    ),
    rim_radius_mm=Field(
        'at the rim; with shape = "cone" only', MM, 5.0, 2000.0, otherwise="radius_mm"
    ),
    points_mm=Field(
        "[[height, radius], ...] from the foot up, "
        f"2 to {MOST_POINTS} points joined by a smooth curve",
        MM,
        otherwise="shape or csv",
        example="[[0, 20], [40, 45], [70, 50]]",
    ),
    csv=Field(
        "file with the columns z_mm, r_mm, wall_mm, where the wall is not the same all over",
        otherwise="shape or points_mm",
        example='"profile.csv"',
    ),
    wall_mm=Field(
        "thickness, normal to the wall; at most half of the radius", MM, 0.5, 100.0,
        otherwise="needed, but with csv", example="3",
    ),
    surface=Field(
        "what the radii and points are those of", words=("outside", "middle"), default="outside"
    ),
    base=Field("whether a floor closes the foot", words=("open", "flat"), default="open"),
    base_mm=Field('thickness of the floor; with base = "flat" only', MM, 0.5, 100.0,
                  otherwise="wall_mm"),
)  # fmt: skip
BAND = _table(
    material=Field(
        "name of a card, or a blend such as 'copper + talc body = 40' (40 % copper by volume)",
        example='"fine silver"',
    ),
    to_mm=Field(
        "height of its upper end above the foot; the last band has none, it reaches the rim",
        MM,
        0.0,
        2000.0,
        otherwise="the rim (last band only)",
    ),
    height=Field(
        "what a plan may do to the height of this band; for the lowest, the highest and one of "
        "pure paste in the middle",
        words=("fixed", "at least", "free"),
        otherwise="the less tall of the end bands fixed, the other free; with a band in the middle "
        "that one fixed, or the ends where it is the highest; free where a word holds another "
        "band, frees the one in the middle, or where [joint] says a place",
    ),
    note=NOTE,
)
PRINTER = _table(
    layer_mm=Field("height of one layer, wet", MM, 0.05, 10.0, 0.3),
    nozzle_mm=Field(
        "width of one road, not below layer_mm",
        MM,
        0.05,
        20.0,
        otherwise="0.6, or two layers",
        example="0.6",
    ),
    dead_volume_ml=Field(
        "paste between the place where it is changed and the nozzle", "ml", 0.01, 500.0, 2.0
    ),
    tanks=Field(
        "how that paste mixes: 1 wholly, many not at all; measure with a coloured paste",
        "-",
        1.0,
        1000.0,
        3.0,
    ),
)
PLACE = "as the bands allow, at most half of height_mm from where it is drawn"
JOINT = _table(
    blends=Field(
        "most blends you will mix, a whole number; 2 means at most 3 changes of paste at a joint, "
        "and two joints may share them",
        "-",
        0.0,
        12.0,
        3.0,
    ),
    height_mm=Field(
        "tallest transition between two zones",
        MM,
        0.0,
        2000.0,
        otherwise="half the vessel; of two joints half of what lies between one end and the other "
        "joint",
    ),
    lowest_mm=Field("lowest place of a transition's middle", MM, 0.0, 2000.0, otherwise=PLACE),
    highest_mm=Field("highest place of a transition's middle", MM, 0.0, 2000.0, otherwise=PLACE),
    keep_mm=Field(
        "least height of each pure zone; 0 lets the pot fade from foot to rim",
        MM,
        0.0,
        1000.0,
        otherwise="0.3 of the smallest zone",
    ),
)
CHOICES = _table(
    dead_volume_ml=Field(
        "[least, most] between changeover and nozzle, by a chamber; with [printer]", "ml", 0.01,
        500.0, otherwise="the printer as it is", example="[0.3, 5]",
    ),
    wall_mm=Field(
        'thinnest and thickest wall that a plan may choose; with shape = "cylinder"', MM, 0.5,
        100.0, otherwise="as drawn", example="[3, 5]",
    ),
    roads=Field(
        "whole: only walls of a whole number of roads of nozzle_mm, each as narrow as its paste "
        "becomes when fired, by the mean of both; with wall_mm",
        words=("any", "whole"), default="any",
    ),
    materials=Field(
        "list of names of cards and of fillers or frits: partners, alternatives and recipes then "
        "offer nothing else; the bands' own always count",
        otherwise="all of the tables", example='["fine silver", "fritted body", "leucite powder"]',
    ),
)  # fmt: skip
PASTE = _table(
    waste_percent=Field("paste lost in bowl, syringe and first lines", "%", 0.0, 200.0, 15.0),
    scale_g=Field("smallest step of your scale", "g", 1e-4, 100.0, 0.1),
)
PRICES = _table(
    currency=Field("printed beside each sum", default="", example='"EUR"'),
    per_kWh=Field("price of current; with kiln_kW", "currency/kWh", 0.0, 1e4, 0.0),
    kiln_kW=Field("of the kiln at full power; with per_kWh", "kW", 0.0, 1e3, 0.0),
    per_hour=Field(
        "price of an hour of the kiln, from its start until the ware is cold", "currency/h", 0.0,
        1e5, 0.0,
    ),
    per_kg=Field(
        'table of prices by name of a powder, and of "binder"', "currency/kg", 0.0, 1e7,
        otherwise="no powder is counted", example='{ "fine silver" = 900 }',
    ),
)  # fmt: skip

# ----------------------------------------------------------------------------------------------
# A firing and a kiln

SLOWEST = 0.1
"""A kiln that goes slower than this stands still. [°C/h]"""

FIRING = _table(
    name=Field("shown in every output", default="firing", example='"first try"'),
    summary=SUMMARY,
    kiln=Field("name of a kiln of the tables, or a table [kiln]", default="small studio kiln"),
    gas=Field("around the ware", words=GASES, default="air"),
    lag_min=Field(
        "how long the ware follows behind the kiln's thermocouple",
        "min",
        0.0,
        600.0,
        otherwise="5 in air, 15 in inert gas or hydrogen, 30 packed in carbon; the longest of "
        "them where the gas changes",
        example="10",
    ),
    latest_h=Field(
        "latest hour after the start at which someone is there to close a hot pack or change the "
        "gas of a running kiln; a plan keeps that before it. One that is closed hand-warm waits",
        "h",
        0.1,
        1000.0,
        otherwise="at any hour",
        example="10",
    ),
    segment=Field("the tables [[segment]]", otherwise="the pair's own window (a vessel's only)"),
)
SEGMENT = _table(
    to_C=Field("temperature of the kiln to go to", "°C", -50.0, 3000.0, example="860"),
    rate_C_per_h=Field(
        'how fast, up or down; "full" is as fast as the kiln can, or as it cools shut',
        "°C/h",
        SLOWEST,
        20000.0,
        example="150",
    ),
    hold_min=Field("time there, once the kiln has reached it", "min", 0.0, 30000.0, 0.0),
    gas=Field(
        "around the ware from the start of this segment on, until another segment names one",
        words=GASES,
        otherwise="as before; first that of the firing",
    ),
    note=NOTE,
)
KILN = _table(
    name=Field("by which a firing names it", example='"my kiln"'),
    summary=SUMMARY,
    max_temperature_C=Field("hottest it may be set", "°C", 200.0, 2200.0, example="1200"),
    source=Field("how you know: measured when, with what", default=""),
    heating=Field("the table [heating]", example="{}"),
    cooling=Field("the table [cooling]", example="{}"),
    controller=Field("the table [controller]", otherwise="takes any firing"),
    chamber=Field("the table [chamber]", otherwise="not asked whether a pot goes in"),
    box=Field("the table [box]", otherwise="the least that takes the pot"),
)
HEATING = _table(
    temperature_C=Field(
        "rising, from 20 to max_temperature_C, 2 rows or more", "°C", -50.0, 3500.0,
        example="[20, 600, 1200]",
    ),
    rate_C_per_h=Field(
        "what full power gives at each, loaded; straight lines between", "°C/h", SLOWEST, 20000.0,
        example="[850, 500, 90]",
    ),
)  # fmt: skip
COOLING = _table(
    temperature_C=HEATING["temperature_C"],
    rate_C_per_h=Field(
        "how it cools shut, power off, at each; 0 in the first row only", "°C/h", 0.0, 50000.0,
        example="[0, 120, 450]",
    ),
)  # fmt: skip
CONTROLLER = _table(
    segments=Field(
        "most segments of one programme, a whole number; a ramp with the hold after it is one, and "
        "the kiln that is off after the last, or cools hand-warm to be packed, is none",
        "-", 1.0, float(MOST_SEGMENTS), otherwise="as many as you like", example="8",
    ),
    rates=Field(
        'whether it takes "full" as a rate; with "numbers" a plan writes one that the kiln keeps '
        "up with, up and down",
        words=("numbers", "full"), default="full",
    ),
    degrees=Field("in which it counts", words=("C", "F"), default="C"),
    step_degrees=Field("its step of temperature, in its own degrees", "°C or °F", 0.1, 20.0, 1.0),
    step_per_h=Field(
        "its step of rate, in its own degrees an hour", "°C/h or °F/h", 0.1, 20.0, 1.0
    ),
    step_min=Field("its step of a hold", "min", 0.1, 60.0, 1.0),
)  # fmt: skip

SPACE = _table(
    width_mm=Field("usable, inside; or diameter_mm", "mm", 20.0, 5000.0, otherwise="it is round",
                   example="180"),
    depth_mm=Field("the same, front to back", "mm", 20.0, 5000.0, otherwise="it is round",
                   example="180"),
    diameter_mm=Field("of a round one; or width_mm and depth_mm", "mm", 20.0, 5000.0,
                      otherwise="it has a width and a depth"),
    height_mm=Field("usable, above the shelf", "mm", 20.0, 5000.0, example="220"),
)  # fmt: skip

# ----------------------------------------------------------------------------------------------
# A material; its properties are the table SPECS of `materials/properties.py`

MATERIAL = _table(
    name=Field("by which vessels name it; without = and +", example='"my body"'),
    like=Field(
        "name of a card to begin from: what this file does not say is as that card says",
        otherwise="this file says all",
        example='"fritted body"',
    ),
    kind=Field("what it is", words=("metal", "ceramic"), otherwise="that of the card it is like"),
    summary=Field("one line about it", otherwise='"like" and what is its own'),
    densification=Field(
        "how it becomes dense", words=("master curve", "viscous"), default="master curve"
    ),
    elements=Field(
        "list of symbols, of a metal", otherwise="those of the card it is like; none for a ceramic"
    ),
    refused=Field("why it is in no plan", default=""),
    atmosphere=Field(
        'a line for each gas: "good", "caution: reason" or "refused: reason"',
        otherwise="that of the card it is like",
    ),
    sources=Field("names of sources and what they are", otherwise="your own measurement"),
    transformation=Field("the tables [[transformation]]", otherwise="those of the card it is like"),
)
PROPERTY = _table(
    value=Field("one number, or one for each row of temperature_C", "unit", example="55"),
    uncertainty=Field(
        'standard uncertainty: "5 %", "+- 0.02" (in the unit) or "factor 2"', example='"10 %"'
    ),
    unit=Field("one of the property's units", otherwise="that of the card it is like"),
    temperature_C=Field(
        "rising, one for each value, where it depends on temperature", "°C", -273.15, 3500.0,
        otherwise="a single number",
    ),
    valid_C=Field(
        "[coldest, hottest] between which a single number holds", "°C", -273.15, 3500.0,
        otherwise="at its own temperature only",
    ),
    at_density=Field(
        "relative density it was measured at", "-", 0.3, 1.0,
        otherwise="that of the card it is like, or 1",
    ),
    fired_at=Field(
        "{ rate_C_per_h, peak_C, hold_min, gas } of the bars, with fired_density only: their heat "
        "work in all, no cooling beside it; without gas, that in which the card is fired",
        otherwise="needed with fired_density",
    ),
    source=Field("a name of [sources]", otherwise="your own measurement, with like"),
    basis=Field(
        "how the number is known",
        words=("seen", "derived", "memory", "practice", "estimate", "measured"),
        otherwise='"measured", with like',
    ),
    note=NOTE,
)  # fmt: skip
TRANSFORMATION = _table(
    name=Field("of the change", example='"quartz inversion"'),
    on_heating_C=Field("where it happens on heating", "°C", -100.0, 2500.0, example="573"),
    on_cooling_C=Field(
        "and on cooling, not above; -100 where it stays", "°C", -100.0, 2500.0, example="573"
    ),
    width_C=Field("over which it is spread", "°C", 1.0, 200.0, example="25"),
    strain_percent=Field("linear, on heating", "%", -3.0, 3.0, example="0.1"),
    expansion_change=Field("of the coefficient above it", "1e-6/K", -50.0, 50.0, 0.0),
    gases=Field(
        "list of the gases in which it happens, that of the firing's hottest part; those of carbon "
        "alone wait for carburised_at",
        otherwise="all",
    ),
    uncertainty=Field("as of a property", otherwise="not stated"),
    source=Field("a name of [sources]", example='"bars"'),
    basis=Field("as of a property", example='"seen"'),
    note=NOTE,
)

# ----------------------------------------------------------------------------------------------
# One entry of a record: what was foretold, how it was fired, what came of it

RECORD = _table(
    piece=Field("name of the piece, at most 80 characters", example='"bowl 3"'),
    prediction=Field(
        "folder of its plan, or what 'cofire check --json' printed, beside this file",
        otherwise="none is added",
        example='"cofire-plan"',
    ),
    firing=Field(
        "firing file, or the kiln's log, beside this file",
        otherwise="none is added",
        example='"log.csv"',
    ),
    column=Field("of a log: column of the temperature, or its number", otherwise="found by itself"),
    time_column=Field("of a log: column of the time, or its number", otherwise="found by itself"),
    unit=Field("of a log", words=("C", "F", "K"), otherwise="as the log tells"),
    time_unit=Field(
        "of a log", words=("s", "min", "h", "days", "ms"), otherwise="as the log tells"
    ),
    outcome=Field(
        "what came of it",
        words=("sound", "cracked", "debonded", "cambered", "slumped"),
        otherwise="none is added; write it once the kiln is cold",
    ),
    where=Field("where on the piece, in words", default=""),
    when=Field("when it was seen, in words", default=""),
    note=Field("anything else, at most 500 characters", default=""),
)

# ----------------------------------------------------------------------------------------------
# What was measured on bars of one material, for `cofire calibrate`

LENGTHS = "lengths of 1 to 1000 mm"
MEASURED = _table(
    material=Field("name of the card that it is about", example='"fritted body"'),
    summary=SUMMARY,
    length_uncertainty_mm=Field(
        "of one reading of a length, one standard uncertainty", "mm", 0.001, 5.0, 0.1
    ),
    temperature_uncertainty_C=Field("from one firing to the next", "°C", 0.0, 50.0, 3.0),
    density_uncertainty_percent=Field("of one bulk density", "%", 0.01, 20.0, 1.0),
    kiln=Field("name of a kiln of the tables; how it cools", default="small studio kiln"),
    lag_min=Field(
        "of the pieces behind the temperatures given; 0 where those are the pieces' own",
        "min",
        0.0,
        600.0,
        0.0,
    ),
    dried_mm=Field(
        f"bars that were not fired: [[printed, dried], ...], {LENGTHS}",
        "mm",
        otherwise="none",
        example="[[100.0, 96.0], [100.2, 96.1]]",
    ),
    dried_kg_m3=Field(
        "bulk densities of dried bars, mass over volume",
        "kg/m³",
        300.0,
        25000.0,
        otherwise="none",
        example="[1650, 1660]",
    ),
    firing=Field("the tables [[firing]]", otherwise="none"),
    dilatometer=Field("the tables [[dilatometer]]", otherwise="none"),
)
MEASURED_FIRING = _table(
    name=Field("shown beside its pieces", example='"850 °C, half an hour"'),
    rate_C_per_h=Field(
        "one ramp of the pieces, then one hold, then it cools shut", "°C/h", 1.0, 5000.0,
        otherwise="needed, or log", example="150",
    ),
    peak_C=Field("where they were held", "°C", 200.0, 2500.0, otherwise="needed, or log",
                 example="850"),
    hold_min=Field("how long", "min", 0.0, 6000.0, otherwise="needed, or log", example="30"),
    log=Field("file of the logger, beside this one, in place of ramp, peak and hold",
              otherwise="ramp, peak and hold", example='"kiln.csv"'),
    thermocouple=Field("of a log: where it sat, in the kiln or beside the pieces",
                       words=("kiln", "ware"), default="kiln"),
    unit=Field("of a log", words=("C", "F", "K"), otherwise="as the log tells"),
    time_unit=Field("of a log", words=("s", "min", "h", "days", "ms"),
                    otherwise="as the log tells"),
    column=Field("of a log: column of the temperature, or its number",
                 otherwise="found by itself"),
    time_column=Field("of a log: column of the time, or its number", otherwise="found by itself"),
    gas=Field("around the pieces", words=GASES, default="air"),
    lag_min=Field("of these pieces", "min", 0.0, 600.0, otherwise="as above all tables",
                  example="0"),
    bars_mm=Field(
        f"bars along the ring: [[printed, dried, fired], ...] or [[dried, fired], ...], {LENGTHS}",
        "mm", otherwise="none", example="[[100.0, 96.1, 85.6], [100.2, 96.2, 85.8]]",
    ),
    upright_mm=Field(
        f"the same along the printed height: [[dried, fired], ...], {LENGTHS}", "mm",
        otherwise="none", example="[[20.0, 17.7]]",
    ),
    fired_kg_m3=Field(
        "bulk densities of fired bars, by weighing in water", "kg/m³", 300.0, 25000.0,
        otherwise="none", example="[2390, 2400]",
    ),
    bending=Field("the table [firing.bending]", otherwise="none"),
    sag=Field("the tables [[firing.sag]]", otherwise="none"),
    strip=Field("the tables [[firing.strip]]", otherwise="none"),
)  # fmt: skip
BENDING = _table(
    strengths_MPa=Field("of each bar", "MPa", 0.01, 3000.0, example="[48.1, 52.7, 55.0]"),
    support_mm=Field("between the outer supports", "mm", 5.0, 500.0,
                     otherwise="the bars' size is not known", example="40"),
    load_mm=Field("between the inner ones, below support_mm; 0 for three points", "mm", 0.0, 500.0,
                  0.0),
    width_mm=Field("of the bars", "mm", 0.5, 100.0, otherwise="as support_mm", example="4"),
    thickness_mm=Field("of the bars", "mm", 0.5, 100.0, otherwise="as support_mm", example="3"),
)  # fmt: skip
SAG = _table(
    span_mm=Field("between the supports", "mm", 10.0, 1000.0, example="70"),
    thickness_mm=Field("of the bar, at most a quarter of the span", "mm", 0.5, 250.0, example="5"),
    sag_mm=Field("of its middle, at most a fifth of the span", "mm", 0.01, 200.0, example="3.4"),
    body=Field("as it went into this firing", words=("raw", "fired"), default="raw"),
)
STRIP = _table(
    partner=Field("name of the card below it", example='"fine silver"'),
    length_mm=Field("straight line between the ends", "mm", 10.0, 1000.0, example="80"),
    rise_mm=Field("of the middle when cold, positive where the top is the longer; at most a fifth "
                  "of the length", "mm", -200.0, 200.0, example="0.42"),
    rise_hot_mm=Field("the same when it set, where it was not flat", "mm", -200.0, 200.0, 0.0),
    thickness_mm=Field("[this material, partner]", "mm", 0.2, 30.0, example="[2.0, 2.0]"),
)  # fmt: skip
CURVE = _table(
    csv=Field("file beside this one: columns temperature_C, strain_percent (or strain_ppm; from "
              "20 °C, or zero in the first row) and, if not at one rate, time_s, time_min or "
              "time_h",
              example='"curve.csv"'),
    body=Field('a "raw" bar sinters, a "fired" one shows expansion', words=("raw", "fired")),
    rate_C_per_h=Field("of a raw bar without times", "°C/h", 1.0, 20000.0,
                       otherwise="needed for a raw bar without times", example="300"),
    name=Field("shown beside it", otherwise="the file's name"),
)  # fmt: skip

FORMATS: Mapping[str, tuple[Section, ...]] = MappingProxyType(
    {
        "vessel": (
            Section("", "sizes are those wanted after firing", VESSEL),
            Section("[profile]", "the wall from foot to rim: shape, points_mm or csv", PROFILE),
            Section(
                "[[band]]",
                f"one material up to a height, from below; 1 to {MOST_BANDS}",
                BAND,
            ),
            Section("[printer]", "what your printer lays", PRINTER),
            Section("[joint]", "what a plan may do to the joint", JOINT),
            Section("[paste]", "how pastes are mixed and weighed", PASTE),
            Section("[prices]", "what things cost, in one currency", PRICES),
            Section("[free]", "what else a plan may choose", CHOICES),
        ),
        "firing": (
            Section("", "temperatures are the kiln's", FIRING),
            Section("[[segment]]", f"go to a temperature, hold it; 1 to {MOST_SEGMENTS}", SEGMENT),
        ),
        "kiln": (
            Section("", "what your kiln can do; measure it", KILN),
            Section("[heating]", "at full power", HEATING),
            Section("[cooling]", "shut, power off", COOLING),
            Section("[controller]", "what its controller takes; a plan keeps to it", CONTROLLER),
            Section("[chamber]", "its inside; or none, and nobody asks if a pot goes in", SPACE),
            Section(
                "[box]",
                "inside of the box that you pack with carbon, its wall left out; the same fields",
                SPACE,
            ),
        ),
        "material": (
            Section("", "a card; temperatures and units are in the names", MATERIAL),
            Section("[property]", "a table for each property, under the property's name", PROPERTY),
            Section("[[transformation]]", "a phase that inverts, with its step", TRANSFORMATION),
        ),
        "measured": (
            Section("", "what was measured on one material; leave out what was not", MEASURED),
            Section("[[firing]]", "one firing and the pieces in it", MEASURED_FIRING),
            Section("[firing.bending]", "bars of this firing, broken at 20 °C", BENDING),
            Section("[[firing.sag]]", "a bar on two supports that sagged in this firing", SAG),
            Section("[[firing.strip]]", "this material on top of a partner, fired as one", STRIP),
            Section("[[dilatometer]]", "length of a bar over temperature", CURVE),
        ),
        "record": (Section("", "for 'cofire record add FILE'", RECORD),),
    }
)
"""Every kind of file that `cofire new` writes, by its name."""
