"""How far do measured lengths and weights scatter? The second panel of 06_stuff_and_link."""

from dataclasses import dataclass
from functools import lru_cache

from kit import reading, units
from kit.casing import Scatter, scatter
from kit.casing.drivers import ScatterDrivers, drivers
from kit.casing.measurements import MeasuredColumn
from kit.casing.scatter import Giveaway, how_many_more
from kit.errors import Faulty, KitError
from kit.lab.charts import casing as charts
from kit.lab.lessons.casing import START
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import Panel, Table, View, row
from kit.tables import data_path, number
from kit.working import Interval

INVENTED = "The demo links and their weights are invented."
PACK = "Net weight is subject to your national law and its inspectors. Weigh packs on a verified scale."
UNITS = {"weight": "g", "length": "mm"}
ODD = "58.4 57.2 59.9 581 60.3 58.8 59.1 57.7 60.6 58.0"
FAR = "far from the rest"


@dataclass(frozen=True, eq=False)
class Scattered:
    measured: MeasuredColumn
    found: Scatter
    wanted: float
    more: tuple[int, int]
    drivers: ScatterDrivers | str | None
    """or why there are none; None for typed values"""


def scatter_panel() -> Panel:
    """Measured links, typed or from a file: scatter, limits, giveaway, and what drives it."""

    def compute(values) -> Scattered:
        what, unit, typed = values["what"], UNITS[values["what"]], values["typed"].strip()
        if typed:
            measured, parts = reading.read_measured(typed, unit), None
        else:
            demo = data_path("demo", "demo_links.csv")
            content = values["file"][1] if values["file"] else demo.read_bytes()
            measured, parts = _column(content, what), _drivers(content)
        wanted, give = values["wanted_mm"], {}
        if unit == "g":
            wanted = values["wanted_g"]
            give = {"declared_g": values["declared_g"], "yield_pct": values["yield_pct"]}
            give["price_per_kg"] = values["price"] or None
        tolerance = values["tolerance_pct"] / 100
        low, high = wanted * (1 - tolerance), wanted * (1 + tolerance)
        found = scatter(measured, low=low, high=high, **give)
        more = how_many_more(found, wanted * values["precision_pct"] / 100)
        return Scattered(measured, found, wanted, more, parts)

    start = START | {"wanted_mm": START["length_mm"]}
    return Panel(
        "Scatter of link weights and lengths",
        controls_of("scatter", options={"what": UNITS}, **start),
        compute,
        scatter_view,
        {"histogram": charts.histogram_chart},
        {
            "Misplaced decimal point": {"typed": ODD},
            "Six links only": {"typed": "58.4 57.2 59.9 60.3 58.8 62.1"},
        },
        faulty=("This measured column", PACK),
    )


@lru_cache(maxsize=8)
def _column(content: bytes, what: str) -> MeasuredColumn:
    try:
        return reading.read_measured(content, UNITS[what], column=what)
    except Faulty:
        return reading.read_measured(content, UNITS[what])


@lru_cache(maxsize=8)
def _drivers(content: bytes) -> ScatterDrivers | str:
    """The variance components of the weights, or why there are none."""
    from kit.reading.measured import read_paired

    columns = {"weight": "g", "length": "mm", "diameter": "mm"}
    try:
        return drivers(*read_paired(content, columns).values())
    except KitError as error:
        return str(error).splitlines()[0]


def scatter_view(result: Scattered, values, system: str) -> View:
    found, parts = result.found, result.drivers
    demo = not values["file"] and not values["typed"].strip()
    histogram = charts.histogram_data(
        found.unit, result.measured.values, result.wanted, values["tolerance_pct"], system
    )
    tables = [_scatter_table(result, values["precision_pct"], system)]
    if found.giveaway is not None:
        tables.append(_giveaway_table(found.giveaway, found.n, system))
    if parts:
        tables.append(_drivers_table(parts))
    said = _scatter_sentence(found, system)
    own = ("Target values, tolerance and price are yours.", *((INVENTED,) if demo else ()))
    assumed = parts.notes if isinstance(parts, ScatterDrivers) else ()
    return View(
        f"{'Demo links, invented: ' if demo else ''}{said}",
        {"histogram": histogram},
        {"histogram": said},
        tuple(tables),
        (*assumed, *own),
        sources=(number("casing_far_out_sds").cite(),),
        cautions=(PACK,),
    ).of(found)


def _far(found: Scatter) -> list[str]:
    return [note for note in found.notes if FAR in note]


def _scatter_sentence(found: Scatter, system: str) -> str:
    out, give, far = found.outside, found.giveaway, _far(found)
    mean, spread = (
        show(three.value, found.unit, system)
        for show, three in ((units.show, found.mean), (_fine, found.sd))
    )
    low, share, high = out.share_pct
    said = (
        f"{found.n} links, mean {mean}, standard deviation {spread} ({found.cv_pct:.1f} %). Outside your limits: "
        f"{out.counted} ({share:.0f} %; 90 % interval {low:.0f} to {high:.0f} %)."
    )
    if give is not None:
        way = "giveaway" if give.g.value >= 0 else "shortfall"
        said += f" Mean {way} per packed link: {_fine(abs(give.g.value), 'g', system)}."
    if len(far) == 1:
        said += f" One value is {FAR}: check it before you use the mean."
    elif far:
        said += f" {len(far)} values are {FAR}: check them first."
    return said


def _scatter_table(result: Scattered, precision_pct: float, system: str) -> Table:
    found, out, unit = result.found, result.found.outside, result.found.unit

    def span(interval: Interval) -> str:
        return f"{_fine(interval.low, unit, system)} to {_fine(interval.high, unit, system)}"

    within, (more, careful) = result.wanted * precision_pct / 100, result.more
    needed = f"further links to measure, for a mean within ± {_fine(within, unit, system)}"
    outside = f"{'✗ ' if out.counted else ''}links outside your limits"
    counted = f"{out.share_pct.low:.1f} to {out.share_pct.high:.1f} %"
    rows = (
        ("mean", units.show(found.mean.value, unit, system), span(found.mean)),
        ("standard deviation", _fine(found.sd.value, unit, system), span(found.sd)),
        (outside, f"{out.counted} of {found.n}", counted),
        (needed, more, f"{careful} with a safety margin"),
        *((f"✗ {FAR}, kept", note, "check the value") for note in _far(found)),
    )
    return Table("Statistics of the links", ("quantity", "value", "90 % interval"), rows)


def _drivers_table(found: ScatterDrivers | str) -> Table:
    rows: list = [(f"not available: {found}", "", "")]
    if isinstance(found, ScatterDrivers):
        rows = []
        for name, (low, share, high) in found.shares_pct.items():
            told = (f"{share:.0f} %", f"{low:.0f} to {high:.0f} %")
            cells = (text.replace("-", "−") for text in told)
            rows.append(row(name, *cells, mark="strong" if name == found.verdict else ""))
    columns = ("component", "share of the variance", "90 % interval")
    return Table("Variance components of the weight", columns, rows)


def _giveaway_table(give: Giveaway, n: int, system: str) -> Table:
    mean, declared, each, least, most = (
        _fine(value, "g", system)
        for value in (give.mean_g, give.declared_g, abs(give.g.value), give.g.low, give.g.high)
    )
    word = "giveaway" if give.g.value >= 0 else "✗ shortfall"
    money = ("cost of the giveaway (your currency)", "enter a price", "")
    if give.money_per_1000 is not None:
        low, cost, high = (f"{money:.2f}".replace("-", "−") for money in give.money_per_1000)
        money = ("cost per 1,000 links (your currency)", cost, f"{low} to {high}")
    rows = (
        ("mean weight of a packed link", mean, f"{declared} declared"),
        (f"{word} per link", each, f"{least} to {most}"),
        ("links below the declared weight", f"{give.below_declared} of {n}", ""),
        money,
    )
    return Table("Giveaway", ("quantity", "value", "comparison"), rows)


def _fine(value: float, unit: str, system: str) -> str:
    """One more decimal than usual: spreads are small."""
    return units.show(value, unit, system, 2 if system == units.METRIC else 3)
