"""Plan how a metal-clay zone and a ceramic zone of one vessel survive one shared firing.

    import cofire as cf

**Look up or build.** A material is a card: every number with its unit, uncertainty and source.

    cf.cards()                     all materials by name; cf.cards("my_tables") adds a folder
    cf.card("copper")              one of them, or from a file, or from a dict
    cf.blend("copper", "talc body", 0.4)     0.4 of the solid volume is metal: a card too
    cf.kiln("small studio kiln")   what a kiln can do
    cf.read_firing([(420, 60, 60), (860, 150, 75)])   rows of to_C, rate_C_per_h, hold_min;
                                   or a file, or a dict as the file would give it
    cf.read_vessel("vase.toml")    profile, bands, printer and firing; or a dict
    cf.example_vessel()            an invented vase, to try things on

**Ask.** Answers give .to_frame() (pandas, units in the names of columns) or are such a table.

    cf.screen("copper")            which bodies can share its firing, and how far apart they are
    cf.mismatch("copper", "talc body")       what either does along one firing; .plot()
    cf.fire(vessel)                stress through the firing: .check() is the verdict, .plot()
    cf.sweep(vessel, peak_C=[840, 860], wall_mm=[1.5, 2])    verdicts, one row a combination
    cf.plan(vessel)                graded layers and a firing that come nearest to a go
    cf.job(vessel)                 what to print and weigh so that it fires to size
    cf.evaluate(cf.Case(vessel))   one verdict, in any process

**What comes back.** Card, Vessel, Firing, Kiln; a Verdict holds a Flag a rule and place, and
RULES holds every Rule: what it asks, where its limit comes from, what mends it.

    >>> import cofire as cf
    >>> verdict = cf.fire(cf.example_vessel()).check()
    >>> verdict.word                                      # go, caution or no
    'no'
    >>> verdict.worst.rule in [rule.name for rule in cf.RULES]
    True

What cofire refuses is a CofireError, in one line that says what is allowed. Inside all is in K, s,
m and Pa, strain and stress positive in extension; °C, h, mm and MPa stand where the name says so.
A verdict is a model's: read the cautions that come with it (.text()), and fire test pieces first.

The same from a terminal: cofire --help. Names load when first used; figures and tables load
matplotlib and pandas only when asked for.
"""

from __future__ import annotations

__version__ = "0.1.0"

_HOMES = {
    "cofire.given": ("blend", "card", "cards", "example_vessel", "kiln"),
    "cofire.notebook": ("fire", "job", "mismatch", "plan", "screen"),
    "cofire.cases": ("Case", "evaluate", "sweep"),
    "cofire.assessment.rule": ("Flag", "Rule"),
    "cofire.assessment.verdict": ("RULES", "Verdict"),
    "cofire.errors": ("CofireError",),
    "cofire.firing.program": ("Firing", "Kiln", "read_firing"),
    "cofire.materials.card": ("Card",),
    "cofire.vessel": ("Vessel",),
    "cofire.vessel_file": ("read_vessel",),
}  # fmt: skip
"""Where each name of the front door is defined; `__init__.pyi` says the same to type checkers."""
_HOME = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> object:
    """Load a name of the front door when it is first used."""
    if name not in _HOME:
        raise AttributeError(f"module 'cofire' has no attribute {name!r}")
    from importlib import import_module

    found = getattr(import_module(_HOME[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*_HOME, *(name for name in globals() if name.startswith("__"))})
