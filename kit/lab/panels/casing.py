"""The panels of 06_stuff_and_link: links and casing, and how far lengths and weights scatter."""

from dataclasses import dataclass
from functools import lru_cache

from kit import units
from kit.casing import Density, LinkPlan, Scatter, batter_density, drivers, plan_links, scatter
from kit.casing.drivers import ScatterDrivers
from kit.casing.geometry import link_diameter_mm
from kit.casing.kinds import natural_names
from kit.casing.measurements import MeasuredColumn
from kit.casing.scatter import Giveaway, how_many_more
from kit.chain.casing import BY_DIAMETER, HANDS, KINDS, LABEL, SHEEP, Links, casing_for, links_of
from kit.errors import Faulty, KitError, OutOfRange, need_between
from kit.lab.charts import casing as charts
from kit.lab.lessons.casing import START, demo_sheet
from kit.lab.panels.panel import Choice, Entry, File, Panel, Row, Slider, Table, View
from kit.reading.measured import read_measured, read_paired
from kit.sheet import Sheet
from kit.tables import data_path, number

COLUMNS = ("what", "value", "limit", "margin", "source")
INVENTED = "The demo links and their weights are invented."
OWN = "Limits of your own"
PACK = (
    "The law on net weight is your own country's; its inspector decides. "
    "Weigh packs on a checked scale."
)
TYPED = "typed numbers are one column; open a file with weight and length of the same links"
UNITS = {"weight": "g", "length": "mm"}
FAR = "far from the rest"


def link_rows(links: Links, system: str) -> tuple[Row, ...]:
    """Lines for an outcome table: links, weight against the wanted one, and casing to draw."""
    plan = links.plan
    grams, wanted, margin = units.show(plan.link_weight_g, "g", system), "", ""
    if links.wanted_g:
        off = links.off_wanted_pct
        wanted = f"{units.show(links.wanted_g, 'g', system)} planned"
        margin = f"{abs(off):.1f} % {'heavier' if off > 0 else 'lighter'}"
    weight = ("weight of a raw link", grams, wanted, margin, _weight_source(plan))
    return (_count_row(plan, system), Row(weight), _casing_row(plan, system))


def _weight_source(plan: LinkPlan) -> str:
    """Natural casing has its weight from geometry, and only its hanks from the table."""
    return "computed" if plan.casing.hank else _casing_source(plan)


def _casing_source(plan: LinkPlan) -> str:
    own = (*plan.casing.own_sources, *plan.casing.sources, "computed")
    return own[0]


def _count_row(plan: LinkPlan, system: str) -> Row:
    left = f"{units.show(plan.left_kg * 1000, 'g', system)} left over"
    return Row(("links", f"{plan.links}", "", left, "computed"))


def _casing_row(plan: LinkPlan, system: str) -> Row:
    low, high = sorted((plan.casing_m_low, plan.casing_m_high))
    drawn, least, most = (units.show(m, "m", system, 0) for m in (plan.casing_m, low, high))
    reach = f"{least} to {most}" if high - low > 0.5 else ""
    what = "casing to draw, with twists, ends and breakage"
    return Row((what, drawn, reach, "", _casing_source(plan)))


# links and casing


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
    """Casing, diameter and length of a link: how many, how heavy, and how much casing."""
    solid = links_of(sheet or demo_sheet()).density.air_free_kg_per_m3

    def compute(values) -> Stuffed:
        density = batter_density(values["air_pct"], solid)
        casing = casing_for(values["kind"], values["diameter_mm"], density)
        wanted, tolerance = values["wanted_g"], values["tolerance_pct"] / 100
        target = {"weight_g": wanted}
        if values["goal"] == "length":
            target = {"length_mm": values["length_mm"]}
        plan = plan_links(values["batter_kg"], casing, strand_m=values["strand_m"], **target)
        return Stuffed(
            density,
            plan,
            wanted * (1 - tolerance),
            wanted * (1 + tolerance),
            values["diameter_mm"],
            plan.link_weight_g * (1 - 1 / casing.diameter_mm) ** 2,
            float(link_diameter_mm(wanted, plan.link_length_mm, density.kg_per_m3)),
        )

    def slider(key, label, unit, low, high, by, group="Process") -> Slider:
        return Slider(key, label, unit, low, high, by, START[key], group)

    return Panel(
        "Links and casing",
        (
            slider("batter_kg", "Batter to stuff", "kg", 1, 300, 1, "Meat block"),
            Choice("kind", "Casing", KINDS, BY_DIAMETER, "Process"),
            slider("diameter_mm", "Stuffed diameter or calibre", "mm", 14, 38, 0.5),
            slider("length_mm", "Link length", "mm", 60, 200, 1),
            slider("air_pct", "Air in the batter, % of volume", "", 0, 15, 0.5),
            slider("strand_m", "Casing on one strand", "m", 5, 50, 1),
            slider("wanted_g", "Wanted raw link", "g", 20, 150, 1, OWN),
            slider("tolerance_pct", "± allowed, %", "", 1, 15, 1, OWN),
            Choice("goal", "The linker holds", ("length", "weight"), "length", "What is shown"),
        ),
        compute,
        links_view,
        lambda system: {"fill": charts.fill_chart(system), "weight": charts.weight_chart(system)},
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

    # by length the weight can miss; by weight it is met, and the length follows
    over, under = max(grams - result.high_g, 0), max(result.low_g - grams, 0)
    misses, verdict, margin = over + under > 1e-9, "as wanted", "inside"
    if misses:
        off = f"{shown(over or under, 'g')} {'over' if over else 'under'}"
        verdict, margin = f"{off} your limit", f"✗ {off}"
    batter, drawn = shown(plan.batter_kg, "kg", 0), shown(plan.casing_m, "m", 0)
    size = f"{shown(plan.link_length_mm, 'mm')} and {shown(grams, 'g')}"
    metric, by_weight = system == units.METRIC, _weight_source(plan)
    wanted = f"{shown(result.low_g, 'g')} to {shown(result.high_g, 'g')} (your own)"
    thinner = f"{100 * (result.narrower_g / grams - 1):.1f} %".replace("-", "−")
    fills, least, most = (
        shown(g, "g/m") for g in (casing.g_per_m, casing.g_per_m_low, casing.g_per_m_high)
    )
    reach = f"{least} to {most}" if casing.g_per_m_high - casing.g_per_m_low > 0.5 else ""
    bought = ("strands opened", f"{plan.strands}", "", "", "computed")
    if casing.hank:
        hanks = f"hanks of {shown(casing.hank.metres, 'm', 0)} to buy"
        bought = (hanks, f"{plan.hanks:.1f}", "", "", _casing_source(plan))
    narrower = f"the same stuffed {'1 mm' if metric else '0.04 in'} thinner"
    wide = "stuffed diameter at which this length weighs what is wanted"
    with_air = "computed from the composition, with the air"
    dense = f"{result.density.kg_per_m3:.0f} kg/m³"
    weight = ("weight of a raw link", shown(grams, "g"), wanted, margin, by_weight)
    rows = (
        _count_row(plan, system),
        Row(weight, "fails" if misses else ""),
        Row((narrower, shown(result.narrower_g, "g"), "", thinner, "computed")),
        Row((wide, shown(result.wanted_mm, "mm"), "", "", "computed")),
        Row(("in a metre" if metric else "in a foot", fills, reach, "", by_weight)),
        _casing_row(plan, system),
        Row(bought),
        Row(("density of the stuffed batter", dense, "", "", with_air)),
    )
    names, calibre = natural_names(), result.calibre_mm
    return View(
        f"{batter} of batter give {plan.links} links of {size}, {verdict}. "
        f"They take {drawn} of casing.",
        {
            "fill": charts.fill_data(casing, result.density, calibre, names, system),
            "weight": charts.weight_data(plan, result.low_g, result.high_g, system),
        },
        {},
        (Table("Outcome", COLUMNS, rows),),
        (*plan.notes, "Wanted weight and tolerance are your own."),
        plan.working,
        plan.sources,
        (HANDS, LABEL),
    )


# scatter


@dataclass(frozen=True, eq=False)
class Scattered:
    measured: MeasuredColumn
    found: Scatter
    wanted: float
    more: tuple[int, int]
    drivers: ScatterDrivers | None
    why_no_drivers: str


def scatter_panel() -> Panel:
    """Measured links, typed or from a file: scatter, limits, giveaway, and what drives it."""

    def compute(values) -> Scattered | Faulty:
        what, unit, typed = values["what"], UNITS[values["what"]], values["typed"].strip()
        demo = data_path("demo", "demo_links.csv")
        try:
            if typed:
                measured, parts, why = read_measured(typed, unit), None, TYPED
            else:
                content = values["file"][1] if values["file"] else demo.read_bytes()
                measured, (parts, why) = _column(content, what), _drivers(content)
        except Faulty as error:
            return error
        wanted, give = values["wanted_mm"], {}
        if unit == "g":
            wanted, price = values["wanted_g"], _price(values["price"])
            give = {"declared_g": values["declared_g"], "yield_pct": values["yield_pct"]}
            give["price_per_kg"] = price
        tolerance = values["tolerance_pct"] / 100
        low, high = wanted * (1 - tolerance), wanted * (1 + tolerance)
        found = scatter(measured, low=low, high=high, **give)
        more = how_many_more(found, wanted * values["precision_pct"] / 100)
        return Scattered(measured, found, wanted, more, parts, why)

    def slider(key, label, unit, low, high, by, start, group=OWN) -> Slider:
        return Slider(key, label, unit, low, high, by, START.get(start, start), group)

    files, forms = "Your files", ".csv,.xlsx,.txt,.tsv"
    declared, packed = "Declared on the pack, per link", "Left of raw when packed, %"
    return Panel(
        "How far do they scatter?",
        (
            File("file", "Choose your measurements (CSV, XLSX, TXT)", forms, files),
            Entry("typed", "or type them", "", "58.2 57.9 60.1", files),
            Choice("what", "These are", tuple(UNITS), "weight", files),
            slider("wanted_g", "Wanted raw link", "g", 20, 150, 0.5, "wanted_g"),
            slider("wanted_mm", "Wanted link length", "mm", 60, 250, 1, "length_mm"),
            slider("tolerance_pct", "± allowed, %", "", 1, 14, 0.5, "tolerance_pct"),
            slider("precision_pct", "Mean to be known to ± %", "", 0.2, 3, 0.1, 0.5),
            slider("declared_g", declared, "g", 20, 150, 0.5, "declared_g", "Giveaway"),
            slider("yield_pct", packed, "", 70, 100, 0.5, "yield_pct", "Giveaway"),
            Entry("price", "Your price per kg", "", "such as 6.50", "Giveaway"),
        ),
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
def _column(content: bytes, what: str) -> MeasuredColumn:
    try:
        return read_measured(content, UNITS[what], column=what)
    except Faulty:
        return read_measured(content, UNITS[what])


@lru_cache(maxsize=8)
def _drivers(content: bytes) -> tuple[ScatterDrivers | None, str]:
    """What drives the weights, from the columns that are there; or why it cannot be told."""
    for dimensions in (("length", "diameter"), ("length",), ("diameter",)):
        try:
            columns = read_paired(content, {"weight": "g"} | dict.fromkeys(dimensions, "mm"))
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


def scatter_view(result: Scattered | Faulty, values, system: str) -> View:
    if isinstance(result, Faulty):
        faults = result.faults
        rows = tuple(Row((f.where or "the file", f.what, f.remedy), "fails") for f in faults)
        columns = ("where", "what is wrong", "what to try")
        return View(
            f"These measurements cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} "
            "to mend or to say, listed below. Nothing was changed in them.",
            tables=(Table("What to mend", columns, rows),),
            cautions=(PACK,),
        )
    found, parts = result.found, result.drivers
    demo = not values["file"] and not values["typed"].strip()
    data = {
        "histogram": charts.histogram_data(
            found, result.measured.values, result.wanted, values["tolerance_pct"], system
        )
    }
    tables = [_scatter_table(result, values["precision_pct"], system)]
    if found.giveaway is not None:
        tables.append(_giveaway_table(found.giveaway, found.n, system))
    if demo or values["file"]:
        tables.append(_drivers_table(parts, result.why_no_drivers))
    if parts:
        data["drivers"] = charts.drivers_data(parts)
    own = ("Wanted values, tolerance and price are your own.", *((INVENTED,) if demo else ()))
    return View(
        f"{'Demo links, invented: ' if demo else ''}{_scatter_sentence(found, system)}",
        data,
        {"drivers": parts.sentence} if parts else {},
        tuple(tables),
        (*found.notes, *(parts.notes if parts else ()), *own),
        (*found.working, *(parts.working if parts else ())),
        (*found.sources, *(parts.sources if parts else ()), number("casing_far_out_sds").cite()),
        (PACK,),
    )


def _far(found: Scatter) -> list[str]:
    return [note for note in found.notes if FAR in note]


def _scatter_sentence(found: Scatter, system: str) -> str:
    out, give, far = found.outside, found.giveaway, _far(found)
    mean, spread = units.show(found.mean, found.unit, system), _fine(found.sd, found.unit, system)
    reach = f"{out.counted_low_pct:.0f} to {out.counted_high_pct:.0f} %"
    said = (
        f"{found.n} links, mean {mean}, spread {spread} ({found.cv_pct:.1f} %). Outside your limits: "
        f"{out.counted} ({out.counted_pct:.0f} %; 95 % interval {reach})."
    )
    if give is not None:
        way = "gives away" if give.g >= 0 else "falls short by"
        said += f" Packed, each {way} {_fine(abs(give.g), 'g', system)} on average."
    if len(far) == 1:
        said += f" One value lies {FAR}: look at it before you believe the mean."
    elif far:
        said += f" {len(far)} values lie {FAR}: look at them first."
    return said


def _scatter_table(result: Scattered, precision_pct: float, system: str) -> Table:
    found, out, unit = result.found, result.found.outside, result.found.unit

    def fine(value: float) -> str:
        return _fine(value, unit, system)

    mean, low, high = (
        units.show(value, unit, system)
        for value in (found.mean, found.tolerance_low, found.tolerance_high)
    )
    mark = "✗ " if out.counted else ""
    precision = fine(result.wanted * precision_pct / 100)
    counted = f"{out.counted_low_pct:.1f} to {out.counted_high_pct:.1f} %"
    spread, share = (
        "spread, one standard deviation",
        f"{found.tolerance_share_pct:g} % of all links",
    )
    needed = f"more to measure, for the mean to ± {precision}"
    more, careful = result.more
    outside = (f"{mark}outside your limits, counted", f"{out.counted} of {found.n}", counted)
    rows = [
        Row(("mean", mean, f"{fine(found.mean_low)} to {fine(found.mean_high)}")),
        Row((spread, fine(found.sd), f"{fine(found.sd_low)} to {fine(found.sd_high)}")),
        Row(outside, "fails" if out.counted else ""),
    ]
    if out.fitted_pct is not None:
        fitted = f"{out.fitted_low_pct:.1f} to {out.fitted_high_pct:.1f} %"
        what = "outside, if the scatter is normal"
        rows.append(Row((what, f"{out.fitted_pct:.1f} %", fitted)))
    confidence = "with 95 % confidence, if normal"
    rows += [
        Row((f"{share} lie between", f"{low} and {high}", confidence)),
        Row((needed, f"{more}", f"{careful} to be careful")),
        *(Row((f"✗ {FAR}, kept", note, "look again"), "fails") for note in _far(found)),
    ]
    return Table("What these links say", ("what", "value", "95 % interval"), tuple(rows))


def _drivers_table(found: ScatterDrivers | None, why: str) -> Table:
    rows = [Row((f"cannot be told: {why}", "", ""))]
    if found:
        rows = []
        for p in found.shares:
            share, reach = f"{p.share_pct:.0f} %", f"{p.low_pct:.0f} to {p.high_pct:.0f} %"
            cells = (p.name, share.replace("-", "−"), reach.replace("-", "−"))
            rows.append(Row(cells, "strong" if p.name == found.verdict else ""))
    columns = ("part", "share of the variance", "95 % interval")
    return Table("What drives the weights", columns, tuple(rows))


def _giveaway_table(give: Giveaway, n: int, system: str) -> Table:
    mean, declared, each, low, high = (
        _fine(value, "g", system)
        for value in (give.mean_g, give.declared_g, abs(give.g), give.low_g, give.high_g)
    )
    word, mark = ("given away", "") if give.g >= 0 else ("✗ short", "fails")
    money = ("in money", "type your price", "")
    if give.money_per_1000 is not None:
        cost, reach = f"{give.money_per_1000:.2f}", f"{give.money_low:.2f} to {give.money_high:.2f}"
        what = "that is, per 1000 links, in your money"
        money = (what, cost.replace("-", "−"), reach.replace("-", "−"))
    rows = (
        Row(("mean link as packed", mean, f"{declared} declared")),
        Row((f"{word}, per link", each, f"{low} to {high}"), mark),
        Row(("links below what is declared", f"{give.below_declared} of {n}", "")),
        Row(money),
    )
    return Table("Giveaway", ("what", "value", "beside it"), rows)


def _fine(value: float, unit: str, system: str) -> str:
    """One more decimal than usual: spreads are small."""
    return units.show(value, unit, system, 2 if system == units.METRIC else 3)
