"""A published table that contradicts itself: change its figures until it would hold."""

from dataclasses import dataclass

from kit import units
from kit.lab.charts import books as charts
from kit.lab.panels.books.pieces import percent
from kit.lab.panels.panel import Panel, Row, Slider, Table, View
from kit.working import step
from kit.yields import PartBooks, part_books, printed_patties

PARTS = {"fat": "fat", "protein": "protein"}


@dataclass(frozen=True)
class Kept:
    """Books of every fat level, with the figures moved, and what is printed."""

    books: dict[float, PartBooks]
    printed: dict[float, float]
    loss_for_all_protein: dict[float, float]
    """the cook loss at which just all the protein would have stayed"""
    moved: bool


def patties_panel() -> Panel:
    """Ground meat patties at four fat levels: the fat and protein that stayed, worked out from composition and cook loss, beside what is printed."""
    table = printed_patties()

    def compute(values) -> Kept:
        shift = {"fat": values["fat_points"], "protein": values["protein_points"], "water": 0.0}
        found = {
            level: part_books(
                row.raw_pct,
                {part: pct + shift[part] for part, pct in row.cooked_pct.items()},
                row.cook_loss_pct + values["loss_points"],
                row.retained_pct,
                row.source,
            )
            for level, row in table.items()
        }
        needed = {
            level: 100
            - 100 * row.raw_pct["protein"] / (row.cooked_pct["protein"] + shift["protein"])
            for level, row in table.items()
        }
        return Kept(
            found,
            {level: row.retained_pct["fat"] for level, row in table.items()},
            needed,
            any(abs(points) > 1e-9 for points in values.values()),
        )

    controls = (
        Slider("loss_points", "Cook loss, points more or less", "", -8, 12, 0.5, 0.0, "Process"),
        Slider("fat_points", "Cooked fat, points more or less", "", -4, 4, 0.1, 0.0, "Process"),
        Slider(
            "protein_points",
            "Cooked protein, points more or less",
            "",
            -4,
            0.6,
            0.1,
            0.0,
            "Process",
        ),
    )
    return Panel(
        "A published table: does it follow from itself?",
        controls,
        compute,
        patties_view,
        lambda system: {part: charts.kept_chart(part, system) for part in PARTS},
        {
            "What if the cook loss were larger?": {"loss_points": 5},
            "What if the protein were read too high?": {"protein_points": -1.6},
        },
    )


def patties_view(kept: Kept, values, system) -> View:
    gap = max(
        kept.printed,
        key=lambda level: abs(kept.printed[level] - kept.books[level].retained_pct["fat"]),
    )
    off = kept.printed[gap] - kept.books[gap].retained_pct["fat"]
    grew = [level for level, found in kept.books.items() if found.retained_pct["protein"] > 100]
    start = "With the figures moved" if kept.moved else "As printed"
    sentence = (
        f"{start}: at {gap:g} % fat the table prints {percent(kept.printed[gap])} fat retained, and its own composition gives {percent(kept.books[gap].retained_pct['fat'])}, "
        f"{abs(off):.1f} points {'more' if off < 0 else 'less'}. "
        + (
            f"✗ At {len(grew)} of {len(kept.books)} levels more protein comes out than went in."
            if grew
            else "No level makes protein out of nothing."
        )
    )
    rows = tuple(
        Row(
            (
                f"{level:g} %",
                percent(found.cook_loss_kg, 2),
                percent(found.retained_pct["fat"]),
                percent(kept.printed[level], 2),
                f"{found.disagreement_points['fat']:+.1f} points".replace("-", "−"),
                ("✗ " if level in grew else "") + percent(found.retained_pct["protein"]),
                percent(kept.loss_for_all_protein[level]),
                units.show(found.unexplained_kg, "kg", system),
            ),
            "fails" if level in grew else "",
        )
        for level, found in kept.books.items()
    )
    table = Table(
        f"What stayed, of {units.show(100, 'kg', system)} raw",
        (
            "fat level",
            "cook loss",
            "fat kept, worked out",
            "fat kept, printed",
            "printed less worked out",
            "protein kept",
            "loss at which 100 % of it stays",
            "cook loss not in water, fat or protein",
        ),
        rows,
    )
    steps = [s for found in kept.books.values() for s in found.working]
    steps += [
        step(
            f"cook loss at which all protein stays, {level:g} % fat",
            "L = 100 − 100 × R / C",
            loss,
            "%",
            R=(printed.raw_pct["protein"], "%", "protein raw"),
            C=(printed.cooked_pct["protein"] + values["protein_points"], "%", "protein cooked"),
        )
        for (level, loss), printed in zip(
            kept.loss_for_all_protein.items(), printed_patties().values()
        )
    ]
    faults = tuple(
        f"{level:g} % fat: {fault}" for level, found in kept.books.items() for fault in found.faults
    )
    notes = (
        *(
            f"{level:g} % fat: {note}"
            for level, found in kept.books.items()
            for note in found.notes
        ),
        *faults,
        "Analyses of meat are themselves good to a point or two: the sum of water, fat and protein of one sample seldom is 100 exactly. Patties are no emulsion: they may lose fat freely.",
    )
    return View(
        sentence,
        {
            part: charts.kept_data(kept.books, kept.printed if part == "fat" else {}, part, hue)
            for part, hue in PARTS.items()
        },
        {part: charts.kept_text(kept.books, part) for part in PARTS},
        (table,),
        notes,
        tuple(steps),
        tuple(source for found in kept.books.values() for source in found.sources),
    )
