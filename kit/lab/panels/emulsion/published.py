"""The model against every published table stored, by the factor a table varies, and what it must not be used for.

The figures are computed from the published columns by tests/tools/emulsion_evidence.py and stored in data/emulsion; a test computes them anew.
"""

from functools import lru_cache

import numpy as np

from kit import tables, units
from kit.lab.charts import emulsion as charts
from kit.lab.panels.emulsion.words import cautions
from kit.lab.panels.panel import Choice, Panel, Table, View, row
from kit.working import notes_of, step

HIGH = 45.0
CLAIMS = {"size": "size and order", "order": "order only", "none": "nothing"}
TITLE = "Cook-out: published and predicted"
SUBTITLE = "ring: published; square: model; disc: model with one offset fitted"


@lru_cache(maxsize=1)
def stored() -> tuple[list[dict], list[dict], list[dict]]:
    """The stored columns, rows and factors."""
    names = ("columns", "rows", "factors")
    return tuple(tables.read_rows("emulsion", f"published_{name}.csv") for name in names)


def published_panel() -> Panel:
    """One published column at a time in the picture; what the model may claim, by what the tables vary."""
    columns, rows, factors = stored()
    names = tuple((f"{c['table']}: {c['title']}, {c['what']}", n) for n, c in enumerate(columns))
    worst = max(range(len(columns)), key=lambda n: float(columns[n]["error_points"]))

    def compute(values) -> tuple[dict, list[dict]]:
        one = columns[values["row"]]
        return one, [r for r in rows if all(r[key] == one[key] for key in ("table", "what"))]

    return Panel(
        "Model against published data",
        (Choice("row", "Published table", names, 0, "What is shown"),),
        compute,
        lambda result, values, system: published_view(*result, factors, system),
        {"beside": lambda system: charts.beside_chart(TITLE, SUBTITLE, HIGH)},
        {"Largest error": {"row": worst}},
    )


def published_view(one: dict, rows: list[dict], factors: list[dict], system: str) -> View:
    names = [r["label"] for r in rows]
    of = {key: [float(r[key]) for r in rows] for key in ("measured_pct", "modelled_pct")}
    shifted = [float(r["shifted_pct"]) for r in rows]
    off = np.abs(np.subtract(of["modelled_pct"], of["measured_pct"]))
    gaps = {f"d{n}": (float(gap), "points") for n, gap in enumerate(off, 1)}
    formula = f"e = ({' + '.join(gaps)}) / n"
    error = float(one["error_points"])
    mean = step("mean error of this table", formula, error, "points", **gaps, n=len(gaps))
    not_for = tuple(map(row, notes_of("not for", {})))
    claimed = tuple(
        row(
            *(f[key] for key in ("varies", "tables", "values")),
            *(f"{float(f[key]):.2f}" for key in ("rank", "error_points", "flat_error_points")),
            CLAIMS[f["claim"]],
            mark="fails" if f["claim"] == "none" else "",
        )
        for f in factors
    )
    columns = (
        "factor varied",
        "tables",
        "values",
        "rank correlation (median)",
        "mean error, model",
    )
    columns = (*columns, "mean error, a constant", "supported claim")
    caption = "Agreement by factor varied (percentage points of raw weight)"
    about = (f"Table {one['table']}: {one['note']}",) if one["note"] else ()
    return View(
        _sentence(one, len(rows), system),
        {"beside": charts.beside_data(names, *of.values(), shifted, HIGH)},
        tables=(
            Table("What the model must not be used for", ("use",), not_for, folded=True),
            Table(caption, columns, claimed, folded=True),
        ),
        notes=(*about, *notes_of("published tables", {})),
        steps=(mean,),
        sources=tuple(tables.cite(c["source"], c["where"], c["status"]) for c in stored()[0]),
        cautions=cautions(),
    )


def _sentence(one: dict, count: int, system: str) -> str:
    hundred = units.show(100.0, "kg", system, 0)
    plain, shifted, flat = (
        units.show(float(one[key]), "kg", system, 1)
        for key in ("error_points", "error_shifted_points", "flat_error_points")
    )
    rank, order = float(one["spearman"]), "has no order to compare"
    if rank == rank:
        order = f"puts its {count} rows in order with a rank correlation of {rank:.2f}"
    helped = one["helped_to_set"]
    helped = f"It helped to set {helped}." if helped else "It set no number of the model."
    return (
        f"Table {one['table']}, {one['what']}: the teaching model {order}. On a batch of {hundred} its mean error is {plain}, and {shifted} with one offset fitted; "
        f"the error of a constant would be {flat}. {helped}"
    )
