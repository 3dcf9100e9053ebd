"""The agreement page: the model against every published table held, what it gets wrong, and what it must not be used for."""

from dataclasses import dataclass

from kit import units
from kit.emulsion.agreement import Agreement, agreement, moved
from kit.emulsion.published import ComparedColumn, Pooled, PublishedTable
from kit.lab.charts import emulsion as charts
from kit.lab.panels.emulsion.words import cautions
from kit.lab.panels.panel import Choice, Panel, Table, View
from kit.lab.panels.view import row
from kit.working import step

HIGH = 45.0
QUANTITIES = {
    "water_loss_pct": "water lost",
    "fat_loss_pct": "fat lost",
    "cook_yield_pct": "cook loss, from the yield",
    "cook_loss_pct": "cook loss",
    "total_expressible_fluid_pct": "fluid pressed out",
    "fat_separation_pct": "fat separated",
    "total_loss_pct": "all that was lost",
    "drip_pct": "drip",
    "loss_pct_of_meat": "cook loss",
    "fat_loss_ml": "fat lost, in ml",
    "total_fluid_ml": "fluid lost, in ml",
    "emulsion_stability_pct": "loss in the stability test",
    "product_yield_pct": "cook loss, from the product yield",
}
NOT_FOR = (
    "promising that a batch will hold, or blaming one that did not",
    "a loss in grams for a customer, a label or a price, before tube tests of your own have set the levels",
    "coarse products, patties, whole muscle, or anything that is no fine batter",
    "cooking or cooling times, safety, shelf life or a legal limit",
    "choosing between two recipes that differ by less than the grey bands are wide",
    "saying by how much more fat for water, or more collagen, changes a loss: published tables bear out the order only",
    "choosing the kind of binder or of oil: published tables bear out nothing, for equal grams lost 9.0 % with one pre-emulsified oil and 22.8 % with another",
    "the smokehouse yield, before or after tube tests: a good tube test is not a good yield",
)
PARAMETERS = {
    "ratio_gain": "how fast water leaves with more water on each gram of meat protein",
    "ratio_reference": "the water on each gram of meat protein where counting starts",
    "collagen_gain": "how much collagen in the meat protein lets water go",
    "nonmeat_gain": "how much non-meat protein holds water",
    "starch_gain": "how much starch holds water",
    "fibre_gain": "how much fibre holds water",
    "salt_gain": "how much salt holds water",
    "salt_scale_pct": "how soon salt has done its work",
    "phosphate_gain": "how much phosphate holds water",
    "water_per_10C": "how much hotter cooking drives water out",
    "pH_gain": "how much a higher pH holds water",
    "water_level": "the level of water lost",
    "fat_level": "the level of fat lost",
    "fat_load_limit": "the most fat on each gram of protein",
    "best_end_C": "the best end of chopping for each fat",
}
"""numbers of the model in words; a test holds that none is missing"""
VARIED = {
    "A": ("fat_pct",),
    "B": ("salt_pct",),
    "C": ("fat_pct",),
    "D": ("salt_pct", "core_C"),
    "E": ("phosphate_pct",),
    "Q": ("pH",),
    "K": ("fat_pct",),
    "N": ("core_C",),
    "P": ("fat_pct", "water_pct", "salt_pct"),
}
BY_VALUE = ("D", "K", "N")
"""what tells the rows of a table apart where print names them by a code, or (BY_VALUE) by these numbers themselves"""
FIELDS = {
    "fat_pct": "% fat",
    "salt_pct": "% salt",
    "phosphate_pct": "% phosphate",
    "water_pct": "% water",
    "pH": "pH",
}
CLAIMS = {"size": "size and order", "order": "order only", "none": "nothing"}
TITLE = "Print beside the model"
SUBTITLE = "ring: print; square: model as it stands; disc: after one level is moved"


@dataclass(frozen=True)
class Chosen:
    agreement: Agreement
    one: ComparedColumn


def beside_print_panel() -> Panel:
    """One table at a time in the picture; all of them in the tables below."""
    found = agreement()
    names = tuple(
        (f"{_named(each)}, {QUANTITIES[each.quantity]}", n) for n, each in enumerate(found.rows)
    )
    controls = (
        Choice("row", "Published table", names, 0, "What is shown"),
        Choice("below", "Tables below", tuple(BELOW), next(iter(BELOW)), "What is shown"),
    )
    worst = max(range(len(found.rows)), key=lambda n: found.rows[n].error_points)
    return Panel(
        "The model beside print",
        controls,
        lambda values: Chosen(found, found.rows[values["row"]]),
        print_view,
        lambda system: {"beside": charts.beside_chart(TITLE, SUBTITLE, HIGH)},
        {"Where it does worst": {"row": worst}},
    )


def print_view(chosen: Chosen, values, system) -> View:
    one, found = chosen.one, chosen.agreement
    gaps = {
        f"d{n}": abs(float(gap)) for n, gap in enumerate(one.modelled_pct - one.measured_pct, 1)
    }
    mean_miss = step(
        "mean miss of this table as it stands",
        f"e = ({' + '.join(gaps)}) / n",
        one.error_points,
        "points",
        **{name: (gap, "points") for name, gap in gaps.items()},
        n=one.n,
    )
    columns = (one.measured_pct, one.modelled_pct, one.shifted_pct)
    not_for = tuple(row(words) for words in NOT_FOR)
    return View(
        _sentence(one, system),
        {"beside": charts.beside_data(row_names(one.of, system), *columns, HIGH)},
        tables=(
            Table("What the model must not be used for", ("not for",), not_for),
            _factors(found),
            _pooled(found),
            BELOW[values["below"]](found, one),
        ),
        notes=(*([f"Table {one.of.key}: {one.of.note}"] if one.of.note else []), *found.notes),
        steps=(mean_miss,),
        sources=found.sources,
        cautions=cautions(),
    )


def _sentence(one: ComparedColumn, system: str) -> str:
    hundred = units.show(100.0, "kg", system, 0)
    plain, shifted, flat = (
        units.show(points, "kg", system, 1)
        for points in (one.error_points, one.error_shifted_points, one.flat_error_points)
    )
    helped = "It set no number of the model, but had been seen."
    if one.used:
        helped = f"It helped to set {_plain(one.of.helped_to_set)}."
    rank = "has no order to compare"
    if one.spearman == one.spearman:
        rank = f"puts its {one.n} rows in order with a rank agreement of {one.spearman:.2f}"
    return (
        f"Table {one.of.key}, {QUANTITIES[one.quantity]}: the teaching model {rank}. On a batch of {hundred} it misses by {plain} as it stands and by {shifted} once one level "
        f"is moved; saying one number for all rows would miss by {flat}. {helped}"
    )


def _named(one: ComparedColumn) -> str:
    return f"{one.of.key}: {one.of.title}"


def row_names(of: PublishedTable, system: str) -> tuple[str, ...]:
    """The printed row names, with what was varied where the name is a code: 'T1: 25 % fat'."""

    def varied(batter):
        return ", ".join(
            units.show(batter.core_C, "°C", system, 0)
            if name == "core_C"
            else f"{getattr(batter, name):.{3 if name == 'pH' else 2}g} {FIELDS[name]}"
            for name in VARIED[of.key]
        )

    if of.key not in VARIED:
        return of.labels
    return tuple(
        varied(batter) if of.key in BY_VALUE else f"{label}: {varied(batter)}"
        for label, batter in zip(of.labels, of.batters, strict=True)
    )


def _factors(found: Agreement) -> Table:
    columns = (
        "what the tables vary",
        "tables",
        "values",
        "rank, median",
        "mean error, model",
        "mean error, a constant",
        "what the model may claim",
    )
    rows = []
    for f in found.factors:
        errors = (f.pooled.error_shifted_points, f.pooled.flat_error_points)
        figures = (f"{x:.2f}" for x in (f.pooled.spearman_median, *errors))
        names, count = " ".join(f.tables), str(f.pooled.values)
        mark = "fails" if f.claim == "none" else ""
        rows.append(row(f.pooled.which, names, count, *figures, CLAIMS[f.claim], mark=mark))
    caption = (
        "By what a table varies, percentage points of the raw weight, one level for each column"
    )
    return Table(caption, columns, tuple(rows))


def _errors(of: ComparedColumn | Pooled) -> tuple[str, str, str]:
    """The miss of the model, of the model with its level moved, and of one number for all rows, and whether that is better."""
    better = " (better)" if of.flat_error_points < of.error_shifted_points else ""
    return (
        f"{of.error_points:.1f}",
        f"{of.error_shifted_points:.1f}",
        f"{of.flat_error_points:.1f}{better}",
    )


def _pooled(found: Agreement) -> Table:
    columns = (
        "which",
        "values",
        "order kept (rank), median",
        "as it stands",
        "one level moved",
        "one number for all",
        "within a factor of 2",
    )
    rows = (
        row(
            p.which,
            str(p.values),
            f"{p.spearman_median:.2f}",
            *_errors(p),
            f"{p.within_factor_2_pct:.0f} %",
        )
        for p in found.pooled
    )
    return Table("Pooled", columns, tuple(rows))


def _comparisons(found: Agreement, one: ComparedColumn) -> Table:
    columns = (
        "table",
        "what",
        "rows",
        "order kept (rank)",
        "as it stands",
        "one level moved",
        "one number for all",
        "helped to set",
    )
    rows = (
        row(
            _named(r),
            QUANTITIES[r.quantity],
            str(r.n),
            f"{r.spearman:.2f}" if r.spearman == r.spearman else "none",
            *_errors(r),
            _plain(r.of.helped_to_set) or "nothing",
            mark="strong" if r is one else "",
        )
        for r in found.rows
    )
    caption = "Every column compared, mean miss in points of the raw weight"
    return Table(caption, columns, tuple(rows))


def _directions(found: Agreement, one: ComparedColumn) -> Table:
    rows = (
        row(d.claim, "agrees", d.known_missed)
        if d.reproduced
        else row(d.claim, "✗ MISSED", d.known_missed, mark="fails")
        for d in found.directions
    )
    columns = ("in print", "the model", "why it misses")
    return Table("Printed directions", columns, tuple(rows))


def _moved(found: Agreement, one: ComparedColumn) -> Table:
    rows = (
        row(_plain((m.parameter,)), m.what_moved, " ".join(m.after_seeing), m.why) for m in moved()
    )
    columns = ("number", "what moved", "after seeing", "why")
    return Table("Numbers that were moved after a table had been seen", columns, tuple(rows))


def _plain(names) -> str:
    return ", ".join(PARAMETERS[name] for name in names)


BELOW = {
    "every column compared": _comparisons,
    "printed directions": _directions,
    "numbers that were moved": _moved,
}
"""what the last table shows"""
