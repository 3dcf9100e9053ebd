"""How many links, how heavy, how much casing? The first panel of 06_stuff_and_link."""

from typing import NamedTuple

from kit import units
from kit.casing import LinkPlan, plan_links
from kit.casing.density import batter_density
from kit.casing.geometry import link_diameter_mm
from kit.chain.casing import HANDS, KINDS, LABEL, SHEEP, casing_for, links_of
from kit.lab.charts import casing as charts
from kit.lab.lessons.casing import START
from kit.lab.panels.controls import controls_of
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.sheets import starting_sheet
from kit.sheet import Sheet


class Stuffed(NamedTuple):
    plan: LinkPlan
    wanted_mm: float
    """the round that holds the wanted weight at this length"""


def links_panel(sheet: Sheet | None = None) -> Panel:
    """Casing, diameter and length of a link: how many, how heavy, and how much casing."""
    solid = links_of(sheet or starting_sheet()).casing.density.air_free_kg_per_m3

    def compute(values) -> Stuffed:
        density = batter_density(values["air_pct"], solid)
        casing = casing_for(values["kind"], values["diameter_mm"], density)
        target = {"weight_g": values["wanted_g"]}
        if values["goal"] == "length":
            target = {"length_mm": values["length_mm"]}
        plan = plan_links(values["batter_kg"], casing, strand_m=values["strand_m"], **target)
        rho, length_mm = density.kg_per_m3, plan.link_length_mm
        return Stuffed(plan, float(link_diameter_mm(values["wanted_g"], length_mm, rho)))

    return Panel(
        "Links and casing",
        controls_of(
            "links",
            options={"kind": KINDS, "goal": ("length", "weight")},
            **START,
        ),
        compute,
        links_view,
        {"fill": charts.fill_chart},
        {
            "Stuff two millimetres wider": {"diameter_mm": START["diameter_mm"] + 2},
            "Air in the batter": {"air_pct": 12},
            "Sheep casing, bought by the hank": {"kind": SHEEP},
        },
    )


def links_view(result: Stuffed, values, system: str) -> View:
    plan, casing, grams = result.plan, result.plan.casing, result.plan.link_weight_g

    def shown(value: float, unit: str, places: int | None = None) -> str:
        return units.show(value, unit, system, places)

    def reach(low: float, high: float, unit: str, places: int | None = None) -> str:
        ends = sorted((low, high))
        said = " to ".join(shown(end, unit, places) for end in ends)
        return said if ends[1] - ends[0] > 0.5 else ""

    tolerance = values["tolerance_pct"] / 100
    low_g, high_g = (values["wanted_g"] * (1 + side * tolerance) for side in (-1, 1))
    # by length the weight can miss; by weight it is met, and the length follows
    over, under = max(grams - high_g, 0), max(low_g - grams, 0)
    verdict, margin = "within tolerance", "within limit"
    if over + under > 1e-9:
        off = f"{shown(over or under, 'g')} {'over' if over else 'under'}"
        verdict, margin = f"{off} your limit", f"✗ {off}"
    batter, drawn = shown(plan.batter_kg, "kg", 0), shown(plan.casing_m, "m", 0)
    size = f"{shown(plan.link_length_mm, 'mm')} and {shown(grams, 'g')}"
    wanted = f"{shown(low_g, 'g')} to {shown(high_g, 'g')} (your limit)"
    idle = {"length_mm": "the linker is set by weight"} if values["goal"] == "weight" else {}
    table, *_ = (*casing.own_sources, *casing.sources, "computed")
    by_weight, bought = table, ("casing strands", plan.strands, "", "", "computed")
    if casing.hank:  # its weight is from geometry, and only its hanks from the table
        idle["strand_m"] = "this casing is bought by the hank"
        hanks = f"casing hanks of {shown(casing.hank.metres, 'm', 0)}"
        by_weight, bought = "computed", (hanks, f"{plan.hanks:.1f}", "", "", table)
    left = f"{shown(plan.left_kg * 1000, 'g')} batter left over"
    long = "metre" if system == units.METRIC else "foot"
    filled = reach(casing.g_per_m_low, casing.g_per_m_high, "g/m")
    length = reach(plan.casing_m_low, plan.casing_m_high, "m", 0)
    wide = "stuffed diameter for the target weight at this length"
    dense = shown(casing.density.kg_per_m3, "kg/m³")
    rows = (
        ("number of links", f"{plan.links:,}", "", left, "computed"),
        ("weight of a raw link", shown(grams, "g"), wanted, margin, by_weight),
        (wide, shown(result.wanted_mm, "mm"), "", "", "computed"),
        (f"batter per {long} of casing", shown(casing.g_per_m, "g/m"), filled, "", by_weight),
        ("casing needed, with twists, ends and breakage", drawn, length, "", table),
        bought,
        ("density of the stuffed batter", dense, "", "", "computed from composition and air"),
    )
    return View(
        f"{batter} of batter: {plan.links:,} links of {size}, {verdict}. Casing needed: {drawn}.",
        {"fill": charts.fill_data(plan, (low_g, high_g), values["diameter_mm"], system)},
        tables=(Table("Outcome", COLUMNS, rows),),
        notes=("Target weight and tolerance are yours.",),
        cautions=(HANDS, LABEL),
        idle=idle,
    ).of(plan)
