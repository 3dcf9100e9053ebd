"""The panels of 06_stuff_and_link: links and casing, and how far lengths and weights scatter."""

from dataclasses import dataclass
from functools import lru_cache

from kit import units
from kit.casing import (
    Density,
    Drivers,
    LinkPlan,
    Measured,
    Scatter,
    batter_density,
    drivers,
    how_many_more,
    link_diameter_mm,
    natural_names,
    plan_links,
    read_measured,
    read_paired,
    scatter,
)
from kit.chain.casing import BY_DIAMETER, HANDS, KINDS, LABEL, SHEEP, Links, casing_for, links_of
from kit.errors import Faulty, KitError, OutOfRange, need_between
from kit.lab.charts import casing as charts
from kit.lab.lessons.casing import START, demo_sheet
from kit.lab.panels.panel import Choice, Entry, File, Panel, Row, Slider, Table, View
from kit.sheet import Sheet
from kit.tables import data_path, number

COLUMNS = ("what", "value", "limit", "margin", "source")
INVENTED = "The demo links and their weights are invented."
PACK = "The law on net weight is your own country's; its inspector decides. Weigh packs on a checked scale."


def link_rows(links: Links, system: str) -> tuple[Row, ...]:
    """Lines for an outcome table: links, their weight against the wanted one, and casing to draw."""
    plan, source = links.plan, _sources(links.plan)
    weight = Row(
        ("weight of a raw link", units.show(plan.link_weight_g, "g", system), "", "", source[0])
    )
    if links.wanted_g:
        off = links.off_wanted_pct
        weight = Row(
            (
                "weight of a raw link",
                units.show(plan.link_weight_g, "g", system),
                f"{units.show(links.wanted_g, 'g', system)} planned",
                f"{abs(off):.1f} % {'heavier' if off > 0 else 'lighter'}",
                source[0],
            )
        )
    return (
        Row(
            (
                "links",
                f"{plan.links}",
                "",
                f"{units.show(plan.left_kg * 1000, 'g', system)} left over",
                "computed",
            )
        ),
        weight,
        _casing_row(plan, system, source[1]),
    )


def _sources(plan: LinkPlan) -> tuple[str, str]:
    """Where the weight of a link and the casing to draw come from: natural casing has its weight from geometry and its hanks from the table."""
    source = plan.casing.sources[0] if plan.casing.sources else "computed"
    return ("computed" if plan.casing.hank else source), source


def _casing_row(plan: LinkPlan, system: str, source: str) -> Row:
    low, high = sorted((plan.casing_m_low, plan.casing_m_high))
    reach = (
        f"{units.show(low, 'm', system, 0)} to {units.show(high, 'm', system, 0)}"
        if high - low > 0.5
        else ""
    )
    return Row(
        (
            "casing to draw, with twists, ends and breakage",
            units.show(plan.casing_m, "m", system, 0),
            reach,
            "",
            source,
        )
    )


# links and casing ----------------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Stuffed:
    density: Density
    plan: LinkPlan
    low_g: float
    high_g: float
    calibre_mm: float
    narrower_g: float
    """a link of the same length stuffed one millimetre thinner"""
    wanted_mm: float
    """the round that holds the wanted weight at this length"""


def links_panel(sheet: Sheet | None = None) -> Panel:
    """Casing, diameter and length of a link: how many and how heavy by geometry; how much casing, sheep by the trade's table of hanks."""
    sheet = sheet or demo_sheet()
    solid = links_of(sheet).density.air_free_kg_per_m3

    def compute(values) -> Stuffed:
        density = batter_density(values["air_pct"], solid)
        casing = casing_for(values["kind"], values["diameter_mm"], density)
        target = (
            {"length_mm": values["length_mm"]}
            if values["goal"] == "length"
            else {"weight_g": values["wanted_g"]}
        )
        plan = plan_links(values["batter_kg"], casing, strand_m=values["strand_m"], **target)
        tolerance = values["tolerance_pct"] / 100
        thinner = plan.link_weight_g * (1 - 1 / casing.diameter_mm) ** 2
        wanted = float(link_diameter_mm(values["wanted_g"], plan.link_length_mm, density.kg_per_m3))
        return Stuffed(
            density,
            plan,
            values["wanted_g"] * (1 - tolerance),
            values["wanted_g"] * (1 + tolerance),
            values["diameter_mm"],
            thinner,
            wanted,
        )

    controls = (
        Slider("batter_kg", "Batter to stuff", "kg", 1, 300, 1, START["batter_kg"], "Meat block"),
        Choice("kind", "Casing", KINDS, BY_DIAMETER, "Process"),
        Slider(
            "diameter_mm",
            "Stuffed diameter or calibre",
            "mm",
            14,
            38,
            0.5,
            START["diameter_mm"],
            "Process",
        ),
        Slider("length_mm", "Link length", "mm", 60, 200, 1, START["length_mm"], "Process"),
        Slider(
            "air_pct", "Air in the batter, % of volume", "", 0, 15, 0.5, START["air_pct"], "Process"
        ),
        Slider("strand_m", "Casing on one strand", "m", 5, 50, 1, START["strand_m"], "Process"),
        Slider(
            "wanted_g", "Wanted raw link", "g", 20, 150, 1, START["wanted_g"], "Limits of your own"
        ),
        Slider(
            "tolerance_pct",
            "± allowed, %",
            "",
            1,
            15,
            1,
            START["tolerance_pct"],
            "Limits of your own",
        ),
        Choice("goal", "The linker holds", ("length", "weight"), "length", "What is shown"),
    )
    return Panel(
        "Links and casing",
        controls,
        compute,
        links_view,
        lambda system: {"fill": charts.fill_chart(system), "weight": charts.weight_chart(system)},
        {
            "Stuff two millimetres wider": {"diameter_mm": START["diameter_mm"] + 2},
            "Air in the batter": {"air_pct": 12},
            "Sheep casing, bought by the hank": {"kind": SHEEP},
        },
    )


def links_view(result: Stuffed, values, system) -> View:
    plan, casing = result.plan, result.plan.casing
    grams = plan.link_weight_g
    # by length the weight can miss; by weight it is met, and the length follows
    over, under = max(grams - result.high_g, 0), max(result.low_g - grams, 0)
    if not over + under > 1e-9:
        verdict = "as wanted"
    else:
        verdict = (
            f"{units.show(over or under, 'g', system)} {'over' if over else 'under'} your limit"
        )
    sentence = (
        f"{units.show(plan.batter_kg, 'kg', system, 0)} of batter give {plan.links} links of {units.show(plan.link_length_mm, 'mm', system)} and "
        f"{units.show(grams, 'g', system)}, {verdict}. They take {units.show(plan.casing_m, 'm', system, 0)} of casing."
    )
    source, drawn_by = _sources(plan)
    margin = (
        f"✗ {units.show(over or under, 'g', system)} {'over' if over else 'under'}"
        if over + under > 1e-9
        else "inside"
    )
    rows = (
        Row(
            (
                "links",
                f"{plan.links}",
                "",
                f"{units.show(plan.left_kg * 1000, 'g', system)} left over",
                "computed",
            )
        ),
        Row(
            (
                "weight of a raw link",
                units.show(grams, "g", system),
                f"{units.show(result.low_g, 'g', system)} to {units.show(result.high_g, 'g', system)} (your own)",
                margin,
                source,
            ),
            "fails" if over + under > 1e-9 else "",
        ),
        Row(
            (
                "the same stuffed 1 mm thinner"
                if system == units.METRIC
                else "the same stuffed 0.04 in thinner",
                units.show(result.narrower_g, "g", system),
                "",
                f"{100 * (result.narrower_g / grams - 1):.1f} %".replace("-", "−"),
                "computed",
            )
        ),
        Row(
            (
                "stuffed diameter at which this length weighs what is wanted",
                units.show(result.wanted_mm, "mm", system),
                "",
                "",
                "computed",
            )
        ),
        Row(
            (
                "in a metre" if system == units.METRIC else "in a foot",
                units.show(casing.g_per_m, "g/m", system),
                f"{units.show(casing.g_per_m_low, 'g/m', system)} to {units.show(casing.g_per_m_high, 'g/m', system)}"
                if casing.g_per_m_high - casing.g_per_m_low > 0.5
                else "",
                "",
                source,
            )
        ),
        _casing_row(plan, system, drawn_by),
        Row(("strands opened", f"{plan.strands}", "", "", "computed"))
        if casing.hank is None
        else Row(
            (
                f"hanks of {units.show(casing.hank.metres, 'm', system, 0)} to buy",
                f"{plan.hanks:.1f}",
                "",
                "",
                drawn_by,
            )
        ),
        Row(
            (
                "density of the stuffed batter",
                f"{result.density.kg_per_m3:.0f} kg/m³",
                "",
                "",
                "computed from the composition, with the air",
            )
        ),
    )
    return View(
        sentence,
        {
            "fill": charts.fill_data(
                casing, result.density, result.calibre_mm, natural_names(), system
            ),
            "weight": charts.weight_data(plan, result.low_g, result.high_g, system),
        },
        {
            "fill": charts.fill_text(casing),
            "weight": charts.weight_text(plan, result.low_g, result.high_g),
        },
        (Table("Outcome", COLUMNS, rows),),
        (*plan.notes, "Wanted weight and tolerance are your own."),
        plan.working,
        plan.sources,
        (HANDS, LABEL),
    )


# scatter -------------------------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, eq=False)
class Spread:
    measured: Measured
    found: Scatter
    wanted: float
    more: tuple[int, int]
    drivers: Drivers | None
    why_no_drivers: str


UNITS = {"weight": "g", "length": "mm"}


def scatter_panel() -> Panel:
    """Measured links, typed or from a file: how far they scatter, what lies outside, what is given away, and what drives it."""

    def compute(values) -> Spread | Faulty:
        what, unit = values["what"], UNITS[values["what"]]
        typed = values["typed"].strip()
        try:
            if typed:
                measured, parts, why = (
                    read_measured(typed, unit),
                    None,
                    "typed numbers are one column; open a file with weight and length of the same links",
                )
            else:
                content = (
                    values["file"][1]
                    if values["file"]
                    else data_path("demo", "demo_links.csv").read_bytes()
                )
                measured, parts, why = _column(content, what), *_drivers(content)
        except Faulty as error:
            return error
        wanted = values["wanted_g"] if unit == "g" else values["wanted_mm"]
        tolerance = values["tolerance_pct"] / 100
        giveaway = {}
        if unit == "g":
            giveaway = {
                "declared_g": values["declared_g"],
                "yield_pct": values["yield_pct"],
                "price_per_kg": _price(values["price"]),
            }
        found = scatter(
            measured, low=wanted * (1 - tolerance), high=wanted * (1 + tolerance), **giveaway
        )
        return Spread(
            measured,
            found,
            wanted,
            how_many_more(found, wanted * values["precision_pct"] / 100),
            parts,
            why,
        )

    controls = (
        File(
            "file",
            "Choose your measurements (CSV, XLSX, TXT)",
            ".csv,.xlsx,.txt,.tsv",
            "Your files",
        ),
        Entry("typed", "or type them", "", "58.2 57.9 60.1", "Your files"),
        Choice("what", "These are", tuple(UNITS), "weight", "Your files"),
        Slider(
            "wanted_g",
            "Wanted raw link",
            "g",
            20,
            150,
            0.5,
            START["wanted_g"],
            "Limits of your own",
        ),
        Slider(
            "wanted_mm",
            "Wanted link length",
            "mm",
            60,
            250,
            1,
            START["length_mm"],
            "Limits of your own",
        ),
        Slider(
            "tolerance_pct",
            "± allowed, %",
            "",
            1,
            14,
            0.5,
            START["tolerance_pct"],
            "Limits of your own",
        ),
        Slider(
            "precision_pct", "Mean to be known to ± %", "", 0.2, 3, 0.1, 0.5, "Limits of your own"
        ),
        Slider(
            "declared_g",
            "Declared on the pack, per link",
            "g",
            20,
            150,
            0.5,
            START["declared_g"],
            "Giveaway",
        ),
        Slider(
            "yield_pct",
            "Left of raw when packed, %",
            "",
            70,
            100,
            0.5,
            START["yield_pct"],
            "Giveaway",
        ),
        Entry("price", "Your price per kg", "", "such as 6.50", "Giveaway"),
    )
    return Panel(
        "How far do they scatter?",
        controls,
        compute,
        scatter_view,
        lambda system: {
            "histogram": charts.histogram_chart(system),
            "drivers": charts.drivers_chart(system),
        },
        {
            "A slipped decimal sign": {"typed": "58.4 57.2 59.9 581 60.3 58.8 59.1 57.7 60.6 58.0"},
            "Tighter than the filler can hold": {"tolerance_pct": 2},
            "Declare more than is there": {"declared_g": 54},
            "Six links only": {"typed": "58.4 57.2 59.9 60.3 58.8 62.1"},
        },
    )


@lru_cache(maxsize=8)
def _column(content: bytes, what: str) -> Measured:
    try:
        return read_measured(content, UNITS[what], column=what)
    except Faulty:
        return read_measured(content, UNITS[what])


@lru_cache(maxsize=8)
def _drivers(content: bytes) -> tuple[Drivers | None, str]:
    """What drives the weights, from the columns that are there; or why it cannot be told."""
    for names in (("weight", "length", "diameter"), ("weight", "length"), ("weight", "diameter")):
        try:
            columns = read_paired(
                content, {name: "g" if name == "weight" else "mm" for name in names}
            )
            return drivers(columns["weight"], columns.get("length"), columns.get("diameter")), ""
        except KitError as error:
            why = str(error).splitlines()[0]
    return None, why


def _price(written: str) -> float | None:
    if not written.strip():
        return None
    try:
        return need_between("your price per kg", float(written.strip().replace(",", ".")), 0, 1e6)
    except ValueError:
        raise OutOfRange(
            f"your price per kg is {written!r}; give one number such as 6.50, or leave it empty"
        ) from None


def scatter_view(result, values, system) -> View:
    if isinstance(result, Faulty):
        rows = tuple(
            Row((fault.where or "the file", fault.what, fault.remedy), "fails")
            for fault in result.faults
        )
        return View(
            f"These measurements cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} to mend or to say, listed below. Nothing was changed in them.",
            {},
            {},
            (Table("What to mend", ("where", "what is wrong", "what to try"), rows),),
            cautions=(PACK,),
        )
    found, out, give = result.found, result.found.outside, result.found.giveaway
    demo = not values["file"] and not values["typed"].strip()

    def shown(value, places=None):
        return units.show(value, found.unit, system, places)

    far = [note for note in found.notes if "far from the rest" in note]
    sentence = (
        f"{'Demo links, invented: ' if demo else ''}{found.n} links, mean {shown(found.mean)}, spread {_fine(found.sd, found.unit, system)} ({found.cv_pct:.1f} %). "
        f"Outside your limits: {out.counted} ({out.counted_pct:.0f} %; 95 % interval {out.counted_low_pct:.0f} to {out.counted_high_pct:.0f} %)."
    )
    if give is not None:
        sentence += f" Packed, each {'gives away' if give.g >= 0 else 'falls short by'} {_fine(abs(give.g), 'g', system)} on average."
    if far:
        sentence += (
            " One value lies far from the rest: look at it before you believe the mean."
            if len(far) == 1
            else f" {len(far)} values lie far from the rest: look at them first."
        )
    rows = [
        Row(
            (
                "mean",
                shown(found.mean),
                f"{_fine(found.mean_low, found.unit, system)} to {_fine(found.mean_high, found.unit, system)}",
            )
        ),
        Row(
            (
                "spread, one standard deviation",
                _fine(found.sd, found.unit, system),
                f"{_fine(found.sd_low, found.unit, system)} to {_fine(found.sd_high, found.unit, system)}",
            )
        ),
        Row(
            (
                "✗ outside your limits, counted" if out.counted else "outside your limits, counted",
                f"{out.counted} of {found.n}",
                f"{out.counted_low_pct:.1f} to {out.counted_high_pct:.1f} %",
            ),
            "fails" if out.counted else "",
        ),
    ]
    if out.fitted_pct is not None:
        rows.append(
            Row(
                (
                    "outside, if the scatter is normal",
                    f"{out.fitted_pct:.1f} %",
                    f"{out.fitted_low_pct:.1f} to {out.fitted_high_pct:.1f} %",
                )
            )
        )
    rows += [
        Row(
            (
                f"{found.tolerance_share_pct:g} % of all links lie between",
                f"{shown(found.tolerance_low)} and {shown(found.tolerance_high)}",
                "with 95 % confidence, if normal",
            )
        ),
        Row(
            (
                f"more to measure, for the mean to ± {_fine(result.wanted * values['precision_pct'] / 100, found.unit, system)}",
                f"{result.more[0]}",
                f"{result.more[1]} to be careful",
            )
        ),
    ]
    rows += [Row(("✗ far from the rest, kept", note, "look again"), "fails") for note in far]
    tables = [Table("What these links say", ("what", "value", "95 % interval"), tuple(rows))]
    if give is not None:
        tables.append(_giveaway(give, found, system, values))
    if demo or values["file"]:
        tables.append(
            Table(
                "What drives the weights",
                ("part", "share of the variance", "95 % interval"),
                tuple(
                    Row(
                        (
                            p.name,
                            f"{p.share_pct:.0f} %".replace("-", "−"),
                            f"{p.low_pct:.0f} to {p.high_pct:.0f} %".replace("-", "−"),
                        ),
                        "strong" if p.name == result.drivers.verdict else "",
                    )
                    for p in result.drivers.parts
                )
                if result.drivers
                else (Row((f"cannot be told: {result.why_no_drivers}", "", "")),),
            )
        )
    data = {
        "histogram": charts.histogram_data(
            found, result.measured.values, result.wanted, values["tolerance_pct"], system
        )
    }
    text = {"histogram": charts.histogram_text(found)}
    if result.drivers:
        data["drivers"], text["drivers"] = (
            charts.drivers_data(result.drivers),
            result.drivers.sentence,
        )
    notes = [
        *found.notes,
        *(result.drivers.notes if result.drivers else ()),
        "Wanted values, tolerance and price are your own.",
        *((INVENTED,) if demo else ()),
    ]
    return View(
        sentence,
        data,
        text,
        tuple(tables),
        tuple(notes),
        (*found.working, *(result.drivers.working if result.drivers else ())),
        (
            *found.sources,
            *(result.drivers.sources if result.drivers else ()),
            number("casing_far_out_sds").cite(),
        ),
        (PACK,),
    )


def _giveaway(give, found, system, values) -> Table:
    def grams(value):
        return _fine(value, "g", system)

    word = "given away" if give.g >= 0 else "✗ short"
    rows = [
        Row(("mean link as packed", grams(give.mean_g), f"{grams(give.declared_g)} declared")),
        Row(
            (
                f"{word}, per link",
                grams(abs(give.g)),
                f"{grams(give.low_g)} to {grams(give.high_g)}",
            ),
            "fails" if give.g < 0 else "",
        ),
        Row(("links below what is declared", f"{give.below_declared} of {found.n}", "")),
    ]
    if give.money_per_1000 is not None:
        rows.append(
            Row(
                (
                    "that is, per 1000 links, in your money",
                    f"{give.money_per_1000:.2f}".replace("-", "−"),
                    f"{give.money_low:.2f} to {give.money_high:.2f}".replace("-", "−"),
                )
            )
        )
    else:
        rows.append(Row(("in money", "type your price", "")))
    return Table("Giveaway", ("what", "value", "beside it"), tuple(rows))


def _fine(value: float, unit: str, system: str) -> str:
    """One more decimal than usual: spreads are small."""
    places = {("g", units.METRIC): 2, ("mm", units.METRIC): 2}.get((unit, system), 3)
    return units.show(value, unit, system, places)
