"""From a sheet to its links: how many, how heavy, how much casing."""

from dataclasses import replace
from functools import lru_cache

from kit.casing import Casing, LinkPlan, plan_links
from kit.casing.density import Density, batter_density
from kit.casing.kinds import cellulose, cellulose_codes, collagen, hanks, machine, natural
from kit.errors import need
from kit.meat_block import Composition
from kit.properties import Makeup
from kit.properties.makeup import makeup_from_kg
from kit.properties.mixture import density_kg_per_m3
from kit.sheet import Sheet
from kit.tables import number, value

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
HOG = (
    "No trade table of hog casing is held: the weight is that of a full round, and the casing to buy "
    "is counted from the links alone. Natural casing is graded wide and sold with shorts and ends, so "
    "more is drawn. Stuff and weigh a length of your own."
)


def links_of(
    sheet: Sheet, batter_kg: float | None = None, *, air_pct: float | None = None
) -> LinkPlan:
    """Links of the sheet's casing, stuffed diameter and length; by weight where no length is written.

    batter_kg: what was stuffed; without it the weight passed on at stuffing, else the whole bowl.
    air_pct: of the volume; usual where not given.
    Raises OutOfRange for what cannot be stuffed.
    """
    plan, said = sheet.process, []
    diameter = plan.stuffed_mm
    if diameter is None:
        row = number("cook_diameter")
        diameter = row.value
        said.append(f"No stuffed diameter is written: {row.value:g} mm assumed ({row.note}).")
    kg = batter_kg
    if kg is None:
        weighed = sheet.weighing("stuff")
        kg = (weighed.out_kg if weighed else None) or sheet.batch_kg
    cold_C = number("cook_start_C").value if plan.written_end_C is None else plan.written_end_C
    solid_kg_per_m3 = float(density_kg_per_m3(makeup_of(sheet.composition), cold_C))
    density = batter_density(air_pct, solid_kg_per_m3)
    casing, more = casing_of(sheet, diameter, density)
    said += more
    if plan.link_mm:
        made = plan_links(kg, casing, length_mm=plan.link_mm)
    else:
        grams = plan.link_g or _usual_link_g(diameter, casing, kg)
        made = plan_links(kg, casing, weight_g=grams)
        if not plan.link_g:
            status = number("casing_usual_link_g").status_in_words
            said.append(
                f"Neither link length nor weight is written: {grams:.3g} g assumed ({status})."
            )
    sd, rows = None, []
    if plan.portioned:
        row = number(f"casing_portion_{plan.portioned.replace(' ', '_')}_pct")
        sd, rows = row.value, [row.cite()]
        said.append(
            f"Links portioned {plan.portioned}: their weights are assumed to scatter by {sd:g} % (standard deviation; {row.status_in_words}); weigh twenty of your own."
        )
    notes, sources = (*made.own_notes, *said), (*made.own_sources, *rows)
    return replace(made, portion_sd_pct=sd, own_notes=notes, own_sources=sources)


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


def casing_of(sheet: Sheet, diameter_mm: float, density: Density) -> tuple[Casing, tuple[str, ...]]:
    """The sheet's casing at this diameter, and what has to be said about it."""
    word = sheet.process.casing or ""
    if word in BY_WORD:
        return casing_for(BY_WORD[word], diameter_mm, density), ()
    unwritten = "No casing is written: a round of the stuffed diameter is calculated."
    said = {"natural hog": (HOG,), "": (unwritten,)}.get(word, ())
    return machine(diameter_mm, density, name=f"{word or 'casing'} {diameter_mm:g} mm"), said


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
    need(
        mm >= (least := min(by_calibre)),
        f"no sheep casing of {mm:g} mm is in the trade table; it begins at {least:g} mm: "
        "take a wider one, or collagen",
    )
    need(
        mm <= max(by_calibre) + 4,
        f"{mm:g} mm is wider than sheep casing is graded; take another casing, "
        "or stuff and weigh a length of your own",
    )
    return by_calibre[max(low for low in by_calibre if low <= mm)]


@lru_cache(maxsize=1)
def _codes() -> dict[str, float]:
    usual = batter_density()
    return {code: cellulose(code, usual).diameter_mm for code in cellulose_codes()}


def _cellulose_code(mm: float) -> str:
    codes = _codes()
    least, most = min(codes.values()), max(codes.values())
    need(
        least - 1 <= mm <= most + 1,
        f"no cellulose size code is held for {mm:g} mm; the table goes from {least:g} to "
        f"{most:g} mm: take {BY_DIAMETER!r}",
    )
    return min(codes, key=lambda code: abs(codes[code] - mm))
