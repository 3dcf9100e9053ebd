"""From a sheet to its links: how many, how heavy, how much casing."""

from dataclasses import replace
from functools import lru_cache

from kit.casing import Casing, LinkPlan, plan_links
from kit.casing.density import Density, batter_density
from kit.casing.kinds import cellulose, cellulose_codes, collagen, hanks, machine, natural
from kit.errors import need
from kit.faults import need_said
from kit.meat_block import Composition
from kit.properties import Makeup
from kit.properties.makeup import makeup_from_kg
from kit.properties.mixture import density_kg_per_m3
from kit.sheet import Sheet
from kit.tables import number, value
from kit.working import notes_of

BY_DIAMETER, COLLAGEN, CELLULOSE, SHEEP = (
    "any, by its diameter",
    "collagen, by calibre",
    "cellulose, by size code",
    "sheep, by calibre",
)
KINDS = (BY_DIAMETER, COLLAGEN, CELLULOSE, SHEEP)
BY_WORD = {"natural sheep": SHEEP, "collagen": COLLAGEN}
"""the sheet's word for a casing that a table is held of"""
HANDS = (
    "Keep hands out of a running stuffer, linker or clipper: stop, unplug or lock out and release the "
    "pressure before opening or clearing it. The machine's manual and your local safety code take precedence over this page."
)
LABEL = (
    "What a label must say of weight and casing is a matter of local codes and of your inspector; "
    "this page only calculates."
)


def links_of(
    sheet: Sheet, batter_kg: float | None = None, *, air_pct: float | None = None
) -> LinkPlan:
    """Links of the sheet's casing, stuffed diameter and length; by weight where no length is written.

    batter_kg: what was stuffed; without it the weight passed on at stuffing, else the whole bowl.
    air_pct: of the volume; usual where not given.
    Raises OutOfRange for what cannot be stuffed.
    """
    plan, weighed, kg = sheet.process, sheet.weighing("stuff"), batter_kg
    usual_mm, usual_g = number("cook_diameter"), number("casing_usual_link_g")
    diameter = usual_mm.value if plan.stuffed_mm is None else plan.stuffed_mm
    if kg is None:
        kg = (weighed.out_kg if weighed else None) or sheet.batch_kg
    cold_C = number("cook_start_C").value if plan.written_end_C is None else plan.written_end_C
    solid_kg_per_m3 = float(density_kg_per_m3(makeup_of(sheet.composition), cold_C))
    casing = casing_of(sheet, diameter, batter_density(air_pct, solid_kg_per_m3))
    grams = plan.link_g or _usual_link_g(diameter, casing, kg)
    target = {"length_mm": plan.link_mm} if plan.link_mm else {"weight_g": grams}
    made, scatter = plan_links(kg, casing, **target), None
    if plan.portioned:
        scatter = number(f"casing_portion_{plan.portioned.replace(' ', '_')}_pct")
    holds = {
        "diameter": plan.stuffed_mm is None,
        "no casing": not plan.casing,
        "hog": plan.casing == "natural hog",
        "size": not plan.link_mm and not plan.link_g,
        "portioned": scatter,
    }
    known = {"diameter": usual_mm, "grams": grams, "size": usual_g}
    said = notes_of("links of a sheet", holds, how=plan.portioned, sd=scatter, **known)
    return replace(
        made,
        portion_sd_pct=scatter.value if scatter else None,
        own_notes=(*made.own_notes, *said),
        own_sources=(*made.own_sources, *([scatter.cite()] if scatter else [])),
    )


def _usual_link_g(diameter_mm: float, casing: Casing, batter_kg: float) -> float:
    """The usual frankfurter; in a casing so wide that it would be thicker than long, a link of its
    shape, or all of the batter in one."""
    usual_g = number("casing_usual_link_g").value
    if 1000 * usual_g / casing.g_per_m >= diameter_mm:
        return usual_g
    return min(usual_g * (diameter_mm / value("cook_diameter")) ** 3, 1000 * batter_kg)


def makeup_of(composition: Composition) -> Makeup:
    """A composition as the mass fractions of thermal properties; the unaccounted as carbohydrate."""
    c = composition
    return makeup_from_kg(
        water=c.water_kg,
        protein=c.protein_kg,
        fat=c.fat_kg,
        ash=c.ash_kg,
        carbohydrate=c.carbohydrate_kg + max(c.unaccounted_kg, 0.0),
    )


def casing_of(sheet: Sheet, diameter_mm: float, density: Density) -> Casing:
    """The sheet's casing at this diameter; a round of it where no table is held of the casing, or none is written."""
    word = sheet.process.casing or "casing"
    if word in BY_WORD:
        return casing_for(BY_WORD[word], diameter_mm, density)
    return machine(diameter_mm, density, name=f"{word} {diameter_mm:g} mm")


def casing_for(kind: str, diameter_mm: float, density: Density) -> Casing:
    """A casing of `kind` (one of KINDS) near this diameter.

    Sheep stuffed to it, bought by the table's row that holds the calibre; cellulose by the nearest
    size code. Raises OutOfRange where no casing of that kind is so narrow or so wide.
    """
    if kind == COLLAGEN:
        return collagen(diameter_mm, density)
    if kind == SHEEP:
        return natural(_sheep_row(diameter_mm), density, diameter_mm)
    if kind == CELLULOSE:
        return cellulose(_cellulose_code(diameter_mm), density)
    need(kind == BY_DIAMETER, f"{kind!r} is no kind of casing here; there are {', '.join(KINDS)}")
    return machine(diameter_mm, density)


def _sheep_row(mm: float) -> str:
    by_calibre = {hank.calibre_low_mm: hank.casing for hank in hanks().values()}
    need_said(mm >= (least := min(by_calibre)), "no casing so narrow", mm=mm, least=least)
    need_said(mm <= max(by_calibre) + 4, "no casing so wide", mm=mm)
    return by_calibre[max(low for low in by_calibre if low <= mm)]


@lru_cache(maxsize=1)
def _codes() -> dict[str, float]:
    usual = batter_density()
    return {code: cellulose(code, usual).diameter_mm for code in cellulose_codes()}


def _cellulose_code(mm: float) -> str:
    codes = _codes()
    least, most = min(codes.values()), max(codes.values())
    need_said(least - 1 <= mm <= most + 1, "no size code", mm=mm, least=least, most=most)
    return min(codes, key=lambda code: abs(codes[code] - mm))
