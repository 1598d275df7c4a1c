"""How to stand the dried pot in the kiln, in words."""

from __future__ import annotations

from cofire.assessment.packing import BED, BULK, CLEAR, Packing, lacking, need_words
from cofire.firing.program import Space


def _inside(space: Space) -> str:
    """Sizes of a room. [mm]"""
    wide = f"{1e3 * space.width:.0f}"
    across = f"{wide} mm across" if space.round else f"{wide} by {1e3 * space.depth:.0f} mm"
    return f"{across}, {1e3 * space.height:.0f} mm high inside"


def packing_words(packing: Packing) -> str:
    """Room that the dried pot takes, what is packed around it, and on what it stands.

    Parameters
    ----------
    packing : Packing
        From `packed`.

    Returns
    -------
    str
        A few sentences.
    """
    dried = packing.dried
    short = "; ".join(map(need_words, lacking(packing.needs)))
    told = (
        f"Dried, it is {1e3 * dried.across:.0f} mm across and {1e3 * dried.high:.0f} mm high"
        f"{f' and does not go in ({short})' if short else ''}; its foot slides "
        f"{1e3 * packing.slides:.1f} mm inwards: stand it on fine alumina"
    )
    if packing.box is None:
        return f"{told}, {1e3 * CLEAR:.0f} mm from walls and elements (common practice)."
    whose = "Your box" if packing.own else "The least box"
    light, heavy = (density * packing.filled for density in BULK)
    bed = f"{1e3 * BED:.0f} mm"
    under = "" if packing.later else "under, "
    first = (
        "Fill it in where the pot stands, once that is burnt out and cold: it must not be lifted "
        f"then. Until then the box is open, under the pot {bed} of alumina or a tile, not carbon, "
        "which burns in air. "
    )
    return (
        f"{told} (common practice). {whose} ({_inside(packing.box)}) takes "
        f"{1e3 * packing.filled:.2g} l of granular carbon, {light:.2g} to {heavy:.2g} kg: "
        f"{bed} {under}around and above the pot, and inside it; lid on, not sealed. "
        f"{first if packing.later else ''}"
        "Note its level before and after: metal that came to lie bare has oxidised."
    )
