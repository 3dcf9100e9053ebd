"""The agreement page: the model against every published table held, what it gets wrong, and what it must not be used for."""

from dataclasses import dataclass
from functools import lru_cache

from kit import units
from kit.emulsion import Agreement, Compared, agreement, moved, published
from kit.emulsion.published import Pooled
from kit.emulsion.published import Table as Published
from kit.lab.charts import emulsion as charts
from kit.lab.panels.emulsion.words import cautions
from kit.lab.panels.panel import Choice, Panel, Row, Table, View
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
BELOW = ("every column compared", "printed directions", "numbers that were moved")
beside_chart = charts.beside_chart(
    "Print beside the model",
    "ring: print; square: model as it stands; disc: after one level is moved",
    HIGH,
)


@lru_cache(maxsize=1)
def whole() -> Agreement:
    return agreement()


@dataclass(frozen=True)
class Chosen:
    agreement: Agreement
    one: Compared


def beside_print_panel() -> Panel:
    """One table at a time in the picture; all of them in the tables below."""
    found = whole()
    names = tuple(
        (f"{row.table}: {row.title}, {QUANTITIES[row.quantity]}", n)
        for n, row in enumerate(found.rows)
    )
    controls = (
        Choice("row", "Published table", names, 0, "What is shown"),
        Choice("below", "Tables below", BELOW, BELOW[0], "What is shown"),
    )
    worst = max(range(len(found.rows)), key=lambda n: found.rows[n].error_points)
    return Panel(
        "The model beside print",
        controls,
        lambda values: Chosen(found, found.rows[values["row"]]),
        print_view,
        lambda system: {"beside": beside_chart(system)},
        {"Where it does worst": {"row": worst}},
    )


def print_view(chosen: Chosen, values, system) -> View:
    one, found = chosen.one, chosen.agreement
    hundred = units.show(100.0, "kg", system, 0)
    as_kg = [
        units.show(points, "kg", system, 1)
        for points in (one.error_points, one.error_shifted_points, one.flat_error_points)
    ]
    helped = (
        f"It helped to set {_plain(one.helped_to_set)}."
        if one.used
        else "It set no number of the model, but had been seen."
    )
    rank = (
        "has no order to compare"
        if one.spearman != one.spearman
        else f"puts its {one.n} rows in order with a rank agreement of {one.spearman:.2f}"
    )
    sentence = (
        f"Table {one.table}, {QUANTITIES[one.quantity]}: the teaching model {rank}. On a batch of {hundred} it misses by {as_kg[0]} as it stands and by {as_kg[1]} once one level "
        f"is moved; saying one number for all rows would miss by {as_kg[2]}. {helped}"
    )
    gaps = {
        f"d{n}": abs(float(a) - float(b))
        for n, (a, b) in enumerate(zip(one.modelled_pct, one.measured_pct), 1)
    }
    steps = (
        step(
            "mean miss of this table as it stands",
            f"e = ({' + '.join(gaps)}) / n",
            one.error_points,
            "points",
            **{k: (v, "points") for k, v in gaps.items()},
            n=one.n,
        ),
    )
    of, below = (
        published()[one.table],
        {BELOW[0]: _comparisons, BELOW[1]: _directions, BELOW[2]: _moved}[values["below"]],
    )
    labels = row_names(of, system)
    words = " ".join(
        f"{label}: measured {m:.1f}, modelled {a:.1f}, one level moved {b:.1f}."
        for label, m, a, b in zip(
            labels, one.measured_pct.tolist(), one.modelled_pct.tolist(), one.shifted_pct.tolist()
        )
    )
    return View(
        sentence,
        {
            "beside": charts.beside_data(
                labels, one.measured_pct, one.modelled_pct, one.shifted_pct, HIGH
            )
        },
        {"beside": f"Measured against modelled for table {one.table}. {words}"},
        (
            Table(
                "What the model must not be used for",
                ("not for",),
                tuple(Row((words,)) for words in NOT_FOR),
            ),
            _factors(found),
            _pooled(found),
            below(found, one),
        ),
        (*([f"Table {one.table}: {of.note}"] if of.note else []), *found.notes),
        steps,
        found.sources,
        cautions(),
    )


def row_names(of: Published, system: str) -> tuple[str, ...]:
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
    return Table(
        "By what a table varies, percentage points of the raw weight, one level for each column",
        columns,
        tuple(
            Row(
                (
                    f.varies,
                    " ".join(f.tables),
                    str(f.values),
                    f"{f.spearman_median:.2f}",
                    f"{f.error_shifted_points:.2f}",
                    f"{f.flat_error_points:.2f}",
                    CLAIMS[f.claim],
                ),
                "" if f.claim != "none" else "fails",
            )
            for f in found.factors
        ),
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
    return Table(
        "Pooled",
        columns,
        tuple(
            Row(
                (
                    p.which,
                    str(p.values),
                    f"{p.spearman_median:.2f}",
                    f"{p.error_points:.1f}",
                    f"{p.error_shifted_points:.1f}",
                    _flat(p),
                    f"{p.within_factor_2_pct:.0f} %",
                )
            )
            for p in found.pooled
        ),
    )


def _comparisons(found: Agreement, one: Compared) -> Table:
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
    rows = tuple(
        Row(
            (
                f"{r.table}: {r.title}",
                QUANTITIES[r.quantity],
                str(r.n),
                f"{r.spearman:.2f}" if r.spearman == r.spearman else "none",
                f"{r.error_points:.1f}",
                f"{r.error_shifted_points:.1f}",
                _flat(r),
                _plain(r.helped_to_set) or "nothing",
            ),
            "strong" if r is one else "",
        )
        for r in found.rows
    )
    return Table("Every column compared, mean miss in points of the raw weight", columns, rows)


def _flat(of: Compared | Pooled) -> str:
    """The miss of one number for all rows, and whether it beats the model with its level moved."""
    return f"{of.flat_error_points:.1f}" + (
        " (better)" if of.flat_error_points < of.error_shifted_points else ""
    )


def _directions(found: Agreement, one: Compared) -> Table:
    return Table(
        "Printed directions",
        ("in print", "the model", "why it misses"),
        tuple(
            Row(
                (d.claim, "agrees" if d.reproduced else "✗ MISSED", d.known_missed),
                "" if d.reproduced else "fails",
            )
            for d in found.directions
        ),
    )


def _moved(found: Agreement, one: Compared) -> Table:
    return Table(
        "Numbers that were moved after a table had been seen",
        ("number", "what moved", "after seeing", "why"),
        tuple(
            Row((_plain((m.parameter,)), m.what_moved, " ".join(m.after_seeing), m.why))
            for m in moved()
        ),
    )


def _plain(names) -> str:
    return ", ".join(PARAMETERS[name] for name in names)
