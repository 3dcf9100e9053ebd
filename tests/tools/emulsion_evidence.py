"""What published tables say of the emulsion model, with every table left out in turn. By hand: python tests/tools/emulsion_evidence.py

Prints the error by what a table varies, the numbers that a table helped to set as all other tables would set them
(tests/published/data/published_batters/left_out.csv), what the model still misses once a table has its own level, and the share of published values
inside the bands (rows of data/reference/emulsion.csv). tests/published/test_emulsion_evidence.py holds the stored figures to these.
With --store it writes the summary that lesson 04 shows: data/emulsion/published_columns.csv, published_rows.csv, published_factors.csv.
"""

import csv
import sys
from functools import cache, lru_cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from published_batters import ComparedColumn, agreement, comparisons, published, read_open, unseen

from kit import tables
from kit.emulsion import calibrate
from kit.emulsion.calibrate import MeasuredLoss
from kit.emulsion.model import work_out
from kit.emulsion.parameters import defaults
from kit.emulsion.spread import cloud

DRAWS, SEED, CANDIDATES = 1000, 7, 11
FAR = 8.0
"""log-odds: a row that no level within this brings to its value says nothing of the misfit"""
WORTH_MOVING = (
    "ratio_gain",
    "water_per_10C",
    "salt_gain",
    "pH_gain",
    "phosphate_gain",
    "nonmeat_worth",
    "fat_steepness",
    "blend_sharpness",
    "fat_load_limit",
    "solids_share",
)
SPANS = {80: (10, 90), 90: (5, 95)}
OUTPUT = {(row["table"], row["column"]): row["output"] for row in read_open("comparisons.csv")}


def kind(row: ComparedColumn) -> str:
    return "fat" if row.level == "fat_level" else "water"


def batters(row: ComparedColumn):
    return row.of.stacked


# numbers as the other tables would set them


def left_out() -> dict[tuple[str, str], float]:
    """{(table, parameter): the value, of CANDIDATES between the row's bounds, that agrees best with all tables but this one}.

    Several numbers set by one table are chosen one after the other, each with those before it already moved.
    """
    found = {}
    for key, table in published().items():
        p = defaults()
        for name in table.helped_to_set:
            row = tables.number(f"emulsion_{name}")
            values = np.linspace(row.low, row.high, CANDIDATES)
            errors = np.array(
                [_errors(comparisons(p.but(**{name: value})), key) for value in values]
            )
            best = float(values[np.argmin((errors / errors.min(axis=0)).mean(axis=1))])
            p, found[key, name] = p.but(**{name: best}), best
    return found


def _errors(rows, key: str) -> list[float]:
    return [
        float(np.mean([r.error_shifted_points for r in rows if r.of.key == other]))
        for other in published()
        if other != key
    ]


def held_out(parameter: str) -> tuple[float, float]:
    """By how much, in %, another value of one number would lower the error: on the tables that chose it, and on the table left out.

    Chosen on all tables but one and judged on that one, in turn; each table keeps its own level and counts once.
    """
    row = tables.number(f"emulsion_{parameter}")
    values = np.unique(np.append(np.linspace(row.low, row.high, CANDIDATES), row.value))
    errors = np.array(
        [_errors(comparisons(defaults().but(**{parameter: value})), "") for value in values]
    )
    relative = errors / errors[np.searchsorted(values, row.value)]
    unseen_errors = [
        relative[np.argmin(np.delete(relative, out, axis=1).mean(axis=1)), out]
        for out in range(relative.shape[1])
    ]
    seen = relative.mean(axis=1)
    return 100 * float(1 - seen.min()), 100 * float(1 - np.mean(unseen_errors))


# what is left once the level is right


@lru_cache(maxsize=1)
def rows() -> tuple[ComparedColumn, ...]:
    return tuple(r for r in comparisons() if r.of.emulsified)


@cache
def left_over(n: int) -> tuple[float, float]:
    """Standard deviation of one column round the model at its own level: in g of 100 g, and in log-odds of the level that would hit each value."""
    row = rows()[n]
    shifts = np.linspace(-FAR, FAR, 641)
    p = unseen(row.of.key)
    at = p.but(**{row.level: getattr(p, row.level) + shifts[:, None]})
    modelled = getattr(work_out(batters(row), at), OUTPUT[row.of.key, row.quantity])
    hit = np.array(
        [np.interp(value, modelled[:, i], shifts) for i, value in enumerate(row.measured_pct)]
    )
    hit = hit[np.abs(hit) < FAR]
    grams = row.measured_pct - row.shifted_pct
    return float(np.sqrt((grams**2).sum() / (row.n - 1))), float(
        hit.std(ddof=1)
    ) if hit.size > 1 else float("nan")


def misfit(what: str, left_out_table: str = "") -> tuple[np.ndarray, np.ndarray]:
    """25, 50 and 75 % of the tables, each counting once: (in g, in log-odds)."""
    per_table: dict[str, list] = {}
    for n, row in enumerate(rows()):
        if kind(row) == what and row.of.key != left_out_table:
            per_table.setdefault(row.of.key, []).append(left_over(n))
    each = np.array([np.sqrt(np.nanmean(np.square(seen), axis=0)) for seen in per_table.values()])
    return tuple(np.percentile(each, (25, 50, 75), axis=0).T)


# published values inside the bands


def coverage(calibrated: bool) -> dict[str, dict[int, float]]:
    """{water or fat: {80 or 90: share of the published values inside that band, %}}.

    Each table is left out: its band uses the misfit of all others. `calibrated`: its first row sets the level and is not counted.
    """
    inside: dict[str, dict[int, list]] = {
        what: {span: [] for span in SPANS} for what in ("water", "fat")
    }
    rng = np.random.default_rng(SEED)
    for row in rows():
        output = OUTPUT[row.of.key, row.quantity]
        first = [MeasuredLoss(row.of.batters[0], **{output: float(row.measured_pct[0])})]
        p = cloud(
            rng,
            DRAWS,
            calibrate(first) if calibrated else None,
            1,
            misfit={what: float(misfit(what, row.of.key)[1][1]) for what in ("water", "fat")},
        )
        drawn_pct = np.broadcast_to(getattr(work_out(batters(row), p), output), (DRAWS, row.n))
        for span, ends in SPANS.items():
            low, high = np.percentile(drawn_pct, ends, axis=0)
            held = (low <= row.measured_pct) & (row.measured_pct <= high)
            inside[kind(row)][span].extend(held[1:] if calibrated else held)
    return {
        what: {span: 100 * float(np.mean(held)) for span, held in spans.items()}
        for what, spans in inside.items()
    }


# the summary that lesson 04 shows

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
    "best_end_C": "the best final chopping temperature for each fat",
}
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


def row_names(of) -> tuple[str, ...]:
    """The published row names, with what was varied where the name is a code: 'T1: 25 % fat'."""

    def varied(batter):
        return ", ".join(
            f"{batter.core_C:.0f} °C"
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


def summary() -> dict[str, list[dict]]:
    """Rows of the three stored files, by file name."""
    page, cited = agreement(), {row["key"]: row for row in read_open("tables.csv")}
    columns, values, factors = [], [], []
    for r in page.rows:
        source = {name: cited[r.of.key][name] for name in ("source", "where", "status", "note")}
        errors = {name: getattr(r, name) for name in ("spearman", "error_points")}
        errors |= {name: getattr(r, name) for name in ("error_shifted_points", "flat_error_points")}
        at = {"table": r.of.key, "what": QUANTITIES[r.quantity]}
        helped = ", ".join(PARAMETERS[name] for name in r.of.helped_to_set)
        columns.append({**at, "title": r.of.title, "helped_to_set": helped, **errors, **source})
        measured = zip(row_names(r.of), r.measured_pct, r.modelled_pct, r.shifted_pct, strict=True)
        for label, *three in measured:
            named = dict(zip(("measured_pct", "modelled_pct", "shifted_pct"), map(float, three)))
            values.append({**at, "label": label, **named})
    for f in page.factors:
        pooled = {"varies": f.pooled.which, "tables": " ".join(f.tables), "values": f.pooled.values}
        errors = {"rank": f.pooled.spearman_median, "error_points": f.pooled.error_shifted_points}
        factors.append(
            {**pooled, **errors, "flat_error_points": f.pooled.flat_error_points, "claim": f.claim}
        )
    return {
        "published_columns.csv": columns,
        "published_rows.csv": values,
        "published_factors.csv": factors,
    }


def store():
    for file, found in summary().items():
        path = tables.data_path("emulsion", file)
        path.parent.mkdir(exist_ok=True)
        with path.open("w", encoding="utf-8", newline="") as out:
            writer = csv.DictWriter(out, list(found[0]), lineterminator="\n")
            writer.writeheader()
            for row in found:
                writer.writerow({k: repr(v) if isinstance(v, float) else v for k, v in row.items()})


if __name__ == "__main__" and "--store" in sys.argv:
    store()
elif __name__ == "__main__":
    print(
        "Error by what a table varies, percentage points of the raw weight, one level per column, numbers of the left-out table set by the others"
    )
    for factor in agreement().factors:
        print(
            f"  {factor.pooled.which:32s} {' '.join(factor.tables):18s} constant {factor.pooled.flat_error_points:.2f}  model {factor.pooled.error_shifted_points:.2f}"
            f"  rank {factor.pooled.spearman_median:.2f}  {factor.claim}"
        )
    for p in agreement().pooled:
        print(
            f"  {p.which:46s} {p.values:4d} values  constant {p.flat_error_points:.2f}  model {p.error_shifted_points:.2f}  rank {p.spearman_median:.2f}"
        )
    print("Numbers as the other tables would set them (left_out.csv)")
    for (key, name), value in left_out().items():
        print(f"  {key},{name},{value:.4g}")
    print("Gain, %, of moving one number: where it was chosen, on the table left out")
    for name in WORTH_MOVING:
        print(f"  {name:18s} {held_out(name)}")
    print("Misfit, quartiles over tables")
    for what in ("water", "fat"):
        grams, log_odds = misfit(what)
        print(f"  {what:6s} g {grams.round(2)}  log-odds {log_odds.round(2)}")
    for calibrated in (False, True):
        print(
            f"Published values inside the bands, {'one row of the table sets the level' if calibrated else 'no calibration'}: {coverage(calibrated)}"
        )
