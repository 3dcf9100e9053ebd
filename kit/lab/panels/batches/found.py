"""What does it take to be found? Shares of invented plants in which the planted cause is the first finding, by its size and the number of batches."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit import tables, units
from kit.batches.analysis import StageReport
from kit.batches.change import change_points
from kit.casing.scatter import share_interval_pct
from kit.lab.charts.batches import found as charts
from kit.lab.panels.batches.pieces import first_stage, following
from kit.lab.panels.panel import Choice, Panel, Slider, View
from kit.lab.panels.view import listing
from kit.reading.plant import Analysed

PLANTS = (
    "Each plant is invented: a step, an episode or one smokehouse, shift or supplier shifts the loss of one stage by the size chosen; the search knows nothing of it. "
    "Right is the right kind, stage and start. The rows come from tests/bench/bench_search.py, with plants that were not used to build the search."
)
KINDS = {
    "independent": "independent of one another",
    "lots 60 %": "alike within a lot (60 % of the variance between lots)",
    "neighbours 0.6": "like the batch before (correlation 0.6)",
    "lognormal": "skewed, with a few large losses",
}
"""noise of the file -> what is said of the losses"""


@dataclass(frozen=True, eq=False)
class Detected:
    """The shares for one kind of scatter, and the stage of the records that they are held against."""

    shares: tuple[dict, ...]
    answer: Analysed
    line: StageReport
    sd_points: float


@lru_cache(maxsize=8)
def shares_of(noise: str) -> tuple[dict, ...]:
    """The rows of data/batches/found_by_size.csv for this kind of scatter, in % of `plants` invented plants: `share` in which the cause was the first finding, with the ends of its exact binomial interval, and `any_pct` in which it was among the findings."""
    found = []
    for row in tables.read_rows("batches", "found_by_size.csv"):
        if row["noise"] == noise:
            plants, first = int(row["plants"]), float(row["found_first_pct"])
            low, high = share_interval_pct(round(first * plants / 100), plants)
            of = {"batches": int(row["batches"]), "size": float(row["size_sd"]), "plants": plants}
            pct = {"share": first, "any_pct": float(row["found_any_pct"]), "low": low, "high": high}
            found.append(of | pct)
    return tuple(found)


def found_panel(look: Panel | None = None) -> Panel:
    """What it takes to find a cause: its size in standard deviations of a stage of the records that `look` holds (none: the demo), and batches."""

    def controls(answer: Analysed) -> tuple:
        sizes = sorted({row["size"] for row in shares_of("independent")})
        kinds = tuple((said, kind) for kind, said in KINDS.items())
        size = "Size of the cause (standard deviations)"
        return (
            Slider("size", size, "", sizes[0], sizes[-1], 0.5, 1, "Cause"),
            Choice("noise", "Losses of the plants", kinds, "independent", "Cause"),
            Choice("stage", "Stage", answer.table.stages, first_stage(answer), "Your records"),
        )

    return following(
        look,
        "What can be found",
        controls,
        detected,
        found_view,
        {"found": charts.found_chart},
        {"Half a standard deviation": {"size": 0.5}, "Three standard deviations": {"size": 3}},
    )


def detected(answer: Analysed, values) -> Detected:
    """The standard deviation is that of batches of one product, about the levels found."""
    line, products = answer.analysis.line(values["stage"]), answer.table.made
    y = line.loss_pct.copy()
    for product in set(products):
        y[products == product] -= np.nanmean(y[products == product])
    y = y[np.isfinite(y)]
    sd = change_points(y).sigma if len(y) >= 8 and np.ptp(y) > 0 else line.sd_points
    return Detected(shares_of(values["noise"]), answer, line, sd)


def found_view(found: Detected, values, system) -> View:
    sizes = sorted({row["size"] for row in found.shares})
    size = min(sizes, key=lambda one: abs(one - values["size"]))
    now = [share for share in found.shares if share["size"] == size]
    said = [f"{share['share']:.0f} % with {share['batches']} batches" for share in now]
    weighed, stage, points = found.answer.table, found.line.name, size * found.sd_points
    each = float(np.nanmean(weighed.all_in_kg[:, weighed.place(stage)])) * points / 100
    sds = f"{size:g} standard deviation{'' if size == 1 else 's'}"
    sentence = (
        f"A cause of {sds} is the first finding in {', '.join(said[:-1])} and {said[-1]}. At {stage} of these {weighed.n} batches it is "
        f"{points:.2g} percentage points, {units.show(each, 'kg', system, 1)} a batch."
    )
    columns = {
        "batches": lambda row: f"{row['batches']}",
        "first finding": lambda row: f"{row['share']:.0f} %",
        "90 % interval": lambda row: f"{row['low']:.0f} to {row['high']:.0f} %",
        "among the findings": lambda row: f"{row['any_pct']:.0f} %",
    }
    caption = f"Invented plants with a cause of {sds}, {now[0]['plants']} for each line"
    rise = "Lines rise with the size of the cause and with the number of batches."
    return View(
        sentence,
        {"found": charts.found_data(found.shares, size)},
        {"found": f"{sentence} {rise}"},
        (listing(caption, columns, now),),
        (PLANTS,),
        sources=(tables.computed("data/batches/found_by_size.csv"),),
    )
