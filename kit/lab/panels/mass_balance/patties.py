"""A published table that contradicts itself: change its figures until it would hold."""

from dataclasses import dataclass

from kit import units
from kit.lab.charts import mass_balance as charts
from kit.lab.panels.mass_balance.pieces import percent
from kit.lab.panels.panel import Panel, Row, Slider, Table, View
from kit.yields.retention import PartBalance, part_balance, printed_patties

PARTS = ("fat", "protein")
ANALYSES = (
    "Analyses of meat are themselves good to a point or two: the sum of water, fat and protein of one "
    "sample seldom is 100 exactly. Patties are no emulsion: they may lose fat freely."
)
COLUMNS = (
    "fat level",
    "cook loss",
    "fat kept, worked out",
    "fat kept, printed",
    "printed less worked out",
    "protein kept",
    "cook loss not in water, fat or protein",
)


@dataclass(frozen=True)
class Retained:
    """Balance of every fat level, with the figures moved, and what is published."""

    balances: dict[float, PartBalance]
    printed: dict[float, float]
    moved: bool


def patties_panel() -> Panel:
    """Ground meat patties at four fat levels: what stayed, calculated beside what is published."""
    table = printed_patties()

    def compute(values) -> Retained:
        shift = {"fat": values["fat_points"], "protein": values["protein_points"], "water": 0.0}
        found = {}
        for level, row in table.items():
            cooked = {part: pct + shift[part] for part, pct in row.cooked_pct.items()}
            loss = row.cook_loss_pct + values["loss_points"]
            found[level] = part_balance(row.raw_pct, cooked, loss, row.retained_pct, row.source)
        printed = {level: row.retained_pct["fat"] for level, row in table.items()}
        moved = any(abs(points) > 1e-9 for points in values.values())
        return Retained(found, printed, moved)

    def points(key: str, what: str, low: float, high: float, by: float) -> Slider:
        return Slider(key, f"{what}, points more or less", "", low, high, by, 0.0, "Process")

    return Panel(
        "A published table: does it follow from itself?",
        (
            points("loss_points", "Cook loss", -8, 12, 0.5),
            points("fat_points", "Cooked fat", -4, 4, 0.1),
            points("protein_points", "Cooked protein", -4, 0.6, 0.1),
        ),
        compute,
        patties_view,
        lambda system: {part: charts.kept_chart(part, system) for part in PARTS},
        {
            "What if the cook loss were larger?": {"loss_points": 5},
            "What if the protein were read too high?": {"protein_points": -1.6},
        },
    )


def patties_view(kept: Retained, values, system: str) -> View:
    balances, printed = kept.balances, kept.printed
    off = {level: printed[level] - balances[level].retained_pct["fat"] for level in printed}
    gap = max(off, key=lambda level: abs(off[level]))
    grew = [level for level, found in balances.items() if found.retained_pct["protein"] > 100]
    start = "With the figures moved" if kept.moved else "As printed"
    more = "more" if off[gap] < 0 else "less"
    verdict = "No level makes protein out of nothing."
    if grew:
        levels = f"{len(grew)} of {len(balances)} levels"
        verdict = f"✗ At {levels} more protein comes out than went in."
    sentence = (
        f"{start}: at {gap:g} % fat the table prints {percent(printed[gap])} fat retained, "
        f"and its own composition gives {percent(balances[gap].retained_pct['fat'])}, "
        f"{abs(off[gap]):.1f} points {more}. {verdict}"
    )
    rows, notes, faults = [], [], []
    for level, found in balances.items():
        fat, protein = (percent(found.retained_pct[part]) for part in PARTS)
        cells = (
            f"{level:g} %",
            percent(found.cook_loss_kg, 2),
            fat,
            percent(printed[level], 2),
            f"{found.disagreement_points['fat']:+.1f} points".replace("-", "−"),
            f"✗ {protein}" if level in grew else protein,
            units.show(found.unrecorded_kg, "kg", system),
        )
        rows.append(Row(cells, "fails" if level in grew else ""))
        notes += [f"{level:g} % fat: {note}" for note in found.notes]
        faults += [f"{level:g} % fat: {fault}" for fault in found.faults]
    raw = units.show(100, "kg", system)
    return View(
        sentence,
        {
            "fat": charts.kept_data(balances, printed, "fat", "fat"),
            "protein": charts.kept_data(balances, {}, "protein", "protein"),
        },
        {},
        (Table(f"What stayed, of {raw} raw", COLUMNS, tuple(rows)),),
        (*notes, *faults, ANALYSES),
        tuple(s for found in balances.values() for s in found.working),
        tuple(source for found in balances.values() for source in found.sources),
    )
