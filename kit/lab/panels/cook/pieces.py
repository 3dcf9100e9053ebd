"""Rows, controls and words that several panels of the cook share."""

from collections.abc import Sequence

from kit import units
from kit.chain.cook import CookAnswer
from kit.chain.cook_yield import BASE, ExpectedYield
from kit.lab.panels.panel import Row, row
from kit.lethality.findings import RowFinding
from kit.tables import number

YIELD = f"cook yield ({BASE})"
INVENTED = "The demo batch and the demo log are invented."
P70_EDITION = "2007, as quoted in 2010"
_STATUS = {
    "read": "read at its source",
    "quoted": "second-hand",
    "memory": "not verified against the source",
}
_FROM_PLAN = "calculated from the plan, no record"
Cells = tuple[str, ...]
"""of one row under COLUMNS; it fails where a cell begins with ✗"""


def cook_rows(answer: CookAnswer, system: str) -> tuple[Cells, ...]:
    """Lines for an outcome table: core target, water, expected yield, the published rows that the plan would meet, and the cooling windows."""
    return (
        core_row(answer.cooked, system),
        *water_rows(answer, system),
        *lethal_rows(answer, system),
        *cooling_rows(answer.cooling),
    )


def shown(x, unit: str, system: str, digits: int = 2) -> str:
    """A figure in the chosen system, or with its digits; words as they are, and nothing where there is none."""
    if x is None or isinstance(x, str):
        return x or ""
    own = f"{x:.{digits}f} {unit}"
    return units.show(x, unit, system) if unit in ("°C", "K", "W/(m² K)") else own


def edition(named: str, status: str) -> str:
    """An edition and how it was read, in words."""
    said = _STATUS[status]
    return named if said in named else f"{named}; {said}"


def core_row(cooked, system: str) -> Cells:
    target = cooked.targets[0]
    aim = f"core at least {units.show(target.target_C, '°C', system)} (your limit)"
    peak = f"peak {units.show(target.peak_C, '°C', system)}"
    if target.reached:
        return "come-up time of the core", f"{target.minutes:.1f} min", aim, peak, "computed"
    short = f"✗ {units.show(target.target_C - target.peak_C, 'K', system)} below"
    return "target core temperature not reached", peak, aim, short, "computed"


def rough_air_rows(answer: CookAnswer, system: str) -> tuple[Cells, ...]:
    """What a smokehouse whose air is known only roughly leaves open; nothing where no step gives a range."""
    found = answer.unsure
    if found is None:
        return ()
    aim, (soonest, latest) = units.show(found.target_C, "°C", system), found.times
    lost = f"{found.evaporated_low_pct:.1f} to {found.evaporated_high_pct:.1f} %"
    said = "computed with the air at both ends of its range; measure the core, do not rely on time"
    return (
        (f"come-up time to {aim}, hottest air", soonest, f"coolest air: {latest}", "", said),
        ("evaporation, coolest to hottest air", lost, "", "", said),
    )


def water_rows(
    answer: CookAnswer, system: str, limit_pct: float | None = None
) -> tuple[Cells, ...]:
    """By the models alone: what evaporates, drips and leaves as fat, and what is left."""
    loss = answer.loss
    lost = loss.evaporated_pct
    limit = margin = ""
    if limit_pct is not None:
        limit = f"{limit_pct:g} % (your limit)"
        size = f"{abs(lost - limit_pct):.1f} percentage points"
        margin = f"✗ {size} over" if lost > limit_pct else f"{size} below"
    released = fat = "not given"
    left = "released water and fat not counted"
    if loss.released_pct is not None:
        released, fat, left = f"{loss.released_pct:.1f} % water and solids released", "", ""
    water = "evaporative shrink, smokehouse and chill, % of raw weight"
    drip = "drip (released water beyond evaporation), % of raw weight"
    kept, teaching = f"{YIELD} from the models, % of raw weight", "computed; teaching model"
    good = "computed; accurate to 2 or 3 percentage points"
    return (
        (water, f"{lost:.1f} %", limit, margin, "computed"),
        (drip, f"{loss.drip_pct:.1f} %", "", released, teaching),
        ("fat released, % of raw weight", f"{loss.fat_out_pct:.1f} %", "", fat, teaching),
        (kept, f"{loss.cooked_chilled_yield_pct:.1f} %", "", left, good),
    )


def expected_row(found: ExpectedYield) -> Row:
    """Models and usual yield together."""
    return row(
        f"expected {YIELD}, % of raw weight",
        f"{found.pct:.1f} %",
        f"90 % interval {found.low_pct:.1f} to {found.high_pct:.1f} %",
        f"usual {found.usual.pct:.1f} ± {found.usual.sd_pct:.1f} %",
        "computed; not calibrated to a smokehouse",
        mark="strong",
    )


def finding_row(f: RowFinding, system: str, more: str = "") -> Cells:
    """One published row or target: what was found, what is asked, and the margin."""
    margin = "not shown"
    if f.margin is not None and f.met is not None:
        size = shown(abs(f.margin), f.margin_unit, system)
        margin = f"{size} above" if f.met else f"✗ {size} below"
    said = edition(f.published.edition, f.published.status) + more
    figures = (shown(x, f.unit, system) for x in (f.found, f.asked))
    return f.what, *figures, margin, said


def lethal_rows(answer: CookAnswer, system: str) -> tuple[Cells, ...]:
    """The strictest published table for this product, and P70 beside it."""
    what, none = f"published lethality table for {answer.product}", "no published table covers it"
    table: Cells = (what, none, "", "", _FROM_PLAN)
    if answer.lethality is not None:
        table = finding_row(answer.lethality, system, f"; {_FROM_PLAN}")
    least, core = number("p_scalded_min"), number("p_scalded_core_C").value
    met = answer.p70.minutes > least.value and answer.p70.peak_C > core
    what = f"P70, equivalent minutes at {units.show(70, '°C', system, 0)} (model)"
    asked = f"> {least.value:g} min and core > {units.show(core, '°C', system, 0)}"
    verdict = "above both" if met else "✗ not above both"
    said = f"{edition(P70_EDITION, least.status)}; {_FROM_PLAN}"
    return table, (what, f"{answer.p70.minutes:.1f} min", asked, verdict, said)


def cooling_rows(findings: Sequence[RowFinding]) -> tuple[Cells, ...]:
    """One line per published option: its parts, minutes against the limit. All are alternatives."""
    options: dict[tuple[str, str], list[RowFinding]] = {}
    for f in findings:
        options.setdefault((f.option, f.published.edition), []).append(f)
    rows = []
    for (option, named), parts in options.items():
        late = any(f.met is False for f in parts)
        verdict = "✗ longer" if late else "cooling not finished"
        if all(f.met for f in parts):
            verdict = "within limit"
        elif not late and all(f.margin is not None for f in parts):
            verdict = "not judged: nitrite not given"
        took = "; ".join("not shown" if f.met is None else f"{f.found:.0f} min" for f in parts)
        limits = "; ".join(f"{f.asked:g} min" for f in parts)
        said = edition(named, parts[0].published.status)
        rows.append((f"cooling: {option}", took, limits, verdict, said))
    return tuple(rows)


def ahead_soft_K(cooked, below_C: float) -> float:
    """The largest surface-core difference while the core is below `below_C`, on the way up."""
    up = cooked.core_C.argmax() + 1
    soft = cooked.core_C[:up] < below_C
    return float((cooked.surface_C[:up] - cooked.core_C[:up])[soft].max()) if soft.any() else 0.0


def ahead_row(cooked, limit_K: float, system: str) -> Cells:
    melts = number("cook_fat_melt_C")
    ahead = ahead_soft_K(cooked, melts.value)
    over_K = ahead - limit_K
    return (
        f"maximum surface-core difference, core below {units.show(melts.value, '°C', system, 0)}",
        units.show(ahead, "K", system),
        f"{units.show(limit_K, 'K', system, 0)} (your limit)",
        f"✗ {units.show(over_K, 'K', system)} over" if over_K > 0 else "within limit",
        f"computed; melting range of fat: {melts.status_in_words}",
    )
