"""Is it the scale, the person or the product? A gauge study and subgroups of links, of the demo or of a file of the person's own, as folded tables."""

from functools import lru_cache

import numpy as np

from kit import tables
from kit.batches import gauge_study, reml, xbar_r
from kit.batches.components import Gauge, components
from kit.errors import need
from kit.faults import fault_words
from kit.lab.panels.view import Table, listing
from kit.reading.cells import as_text
from kit.reading.columns import headed, only_table
from kit.reading.records.draft import LIMITS
from kit.reading.shapes import Form
from kit.reading.words import plain

COLUMNS = {
    "person": ("person", "operator", "who"),
    "part": ("part", "link", "piece", "sample"),
    "weight": ("weight", "weight g", "g"),
    "scale": ("scale",),
}
"""column of a study -> headers that name it; a study without a column of scales is of one scale"""


def _called(header: str) -> str:
    said = plain(header)
    return next((name for name, words in COLUMNS.items() if said in words), "")


@lru_cache(maxsize=8)
def study_of(file: tuple[str, bytes] | None) -> tuple[tuple[str, Gauge], ...]:
    """(scale, gauge study) of each scale in a file, (name, content), or in the invented demo. KitError with what the file lacks."""
    name, content = file or (
        "demo_scale_study.csv",
        tables.data_path("demo", "demo_scale_study.csv").read_bytes(),
    )
    form = Form(LIMITS, headed(lambda header: bool(_called(header))), "no study", "scale study")
    found = only_table(content, name, form)
    columns = {
        _called(column): as_text(found.column(column)).to_pylist() for column in found.names[::-1]
    }
    lacking = [column for column in ("person", "part", "weight") if column not in columns]
    how = fault_words("no study")[1]
    need(not lacking, f"{name} has no column {' and no column '.join(lacking)}; {how}")
    scales = np.array(columns.get("scale", [""] * len(found.row)))
    try:
        weight = np.array([float(cell.replace(",", ".")) for cell in columns["weight"]])
    except ValueError as cause:
        need(False, f"{name}, weight: {cause}; write plain numbers in one unit")
    who, part = (np.array(columns[column]) for column in ("person", "part"))
    return tuple(
        (scale, gauge_study(weight[at], who[at], part[at]))
        for scale in np.unique(scales)
        for at in [scales == scale]
    )


def study_table(file: tuple[str, bytes] | None) -> Table:
    """Repeatability and reproducibility of each scale."""
    what = "invented: two people, ten links, three readings" if file is None else file[0]
    return listing(
        f"Gauge R&R ({what})",
        {
            "scale": lambda one: one[0] or "the scale",
            "repeatability": lambda one: f"{one[1].repeatability ** 0.5:.2f} g",
            "between people": lambda one: f"{one[1].operator ** 0.5:.2f} g",
            "between parts": lambda one: f"{one[1].part ** 0.5:.2f} g",
            "scale's share of the standard deviation": lambda one: (
                f"{one[1].gauge_pct_of_spread:.0f} %"
            ),
            "note": lambda one: "; ".join(one[1].notes),
        },
        study_of(file),
        folded=True,
    )


@lru_cache(maxsize=1)
def trees_table() -> Table:
    """Five links of each of twenty invented smoke trees: X-bar and R charts, and variance components by two methods."""
    rows = tables.read_rows("demo", "demo_tree_weights.csv")
    weight = np.array([float(r["weight_g"]) for r in rows])
    tree = np.array([int(r["tree"]) for r in rows])
    chart = xbar_r(np.array([weight[tree == one] for one in np.unique(tree)]), unit="g")
    trees = ", ".join(str(v.at + 1) for v in chart.alarms) or "none"
    lines = []
    for name, one, said in (
        ("X-bar", chart, f"; run rules violated at tree {trees}"),
        ("R", chart.ranges, ""),
    ):
        phase = one.phases[0]
        limits = f"limits {phase.low:.2f} to {phase.high:.2f} g{said}"
        lines.append((name, f"centre {phase.centre:.2f} g", limits))
    for found in (components(weight, {"tree": tree}, unit="g"), reml(weight, {"tree": tree})):
        shares = (
            f"{part.name} {part.sd:.2f} g ({part.share_pct:.0f} %)" for part in found.components
        )
        lines.append(("variance components", found.method, ", ".join(shares)))
    return Table(
        "X-bar and R of five links from each of twenty smoke trees (invented)",
        ("chart", "centre or method", "result"),
        lines,
        folded=True,
    )
