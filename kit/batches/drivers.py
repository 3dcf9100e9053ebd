"""What drives a loss? Regression on the process columns, with what can fool it shown beside it. statsmodels does the sums."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from math import sqrt

import numpy as np

from kit import tables
from kit.errors import OutOfRange, need
from kit.working import Result, step


@dataclass(frozen=True)
class Driver:
    """One column. `slope` per unit of the column; `vif`: how many times collinearity with the others blows up its variance."""

    name: str
    slope: float
    se: float
    interval: tuple[float, float]
    p: float
    vif: float


@dataclass(frozen=True)
class Drivers(Result):
    """A fitted regression. `rows`: 0-based places of the batches used."""

    intercept: float
    intercept_se: float
    drivers: tuple[Driver, ...]
    r2: float
    r2_adjusted: float
    sigma: float
    dof: int
    rows: np.ndarray
    cooks_d: np.ndarray
    strong: tuple[int, ...]
    """batches (0-based) whose removal would move the answer most: Cook's D above 4 / n"""
    durbin_watson: float

    def driver(self, name: str) -> Driver:
        found = [d for d in self.drivers if d.name == name]
        need(
            bool(found),
            f"no column {name!r} in this regression; there are {', '.join(d.name for d in self.drivers)}",
        )
        return found[0]


def drivers(
    loss,
    columns: Mapping[str, np.ndarray],
    *,
    level: float = 0.95,
    unit: str = "% points",
) -> Drivers:
    """Ordinary least squares of a loss on recorded variables.

    loss: loss of each batch, % of what went in, shape (n,), nan where unknown
    columns: {name: values of shape (n,)}, each in its own unit, nan where unknown
    level: of the intervals, 0.5 to 0.999
    unit: unit of the loss, for the words
    Returns Drivers: slopes with intervals, collinearity (VIF) and influential batches.
    Raises OutOfRange for too few batches, or a column that does not vary.
    Batches with a gap in any column are left out and counted in the notes. Columns named "... of
    finished" share the error of the weight that the loss was computed from; a note says so
    (`shared_error_correlation`). Keep drying and fat separation as separate responses.
    Source: ordinary least squares; data/reference/batches.csv.
    """
    import statsmodels.api as sm
    from statsmodels.stats.diagnostic import het_breuschpagan
    from statsmodels.stats.outliers_influence import variance_inflation_factor
    from statsmodels.stats.stattools import durbin_watson

    y = np.asarray(loss, float)
    need(bool(columns), "at least one column to explain the loss with")
    names = list(columns)
    x = np.column_stack([np.asarray(columns[name], float) for name in names])
    need(len(x) == len(y), "every column needs one value for each batch")
    rows = np.flatnonzero(np.isfinite(y) & np.isfinite(x).all(axis=1))
    need(
        len(rows) >= len(names) + 3,
        f"{len(rows)} batches have all of {', '.join(names)}; it takes at least {len(names) + 3}: use fewer columns",
    )
    y, x = y[rows], x[rows]
    still = [name for name, column in zip(names, x.T) if np.ptp(column) == 0]
    need(
        not still,
        f"{', '.join(still)} never varies, so nothing can be learnt about it; leave it out",
    )
    design = np.column_stack([np.ones(len(y)), x])
    scaled = (x - x.mean(axis=0)) / x.std(axis=0)
    s = np.linalg.svd(scaled, compute_uv=False)
    if s[-1] < 1e-9 * s[0]:
        tied = [n for n, w in zip(names, np.abs(np.linalg.svd(scaled)[2][-1])) if w > 0.1]
        raise OutOfRange(
            f"{', '.join(tied)} move exactly together, so their shares cannot be told apart; leave one out"
        )
    fit = sm.OLS(y, design).fit()
    interval = fit.conf_int(1 - level)
    vif = [
        variance_inflation_factor(np.column_stack([np.ones(len(y)), scaled]), i + 1)
        for i in range(len(names))
    ]
    found = tuple(
        Driver(
            name,
            float(fit.params[i]),
            float(fit.bse[i]),
            (float(interval[i][0]), float(interval[i][1])),
            float(fit.pvalues[i]),
            float(v),
        )
        for i, (name, v) in enumerate(zip(names, vif), 1)
    )
    cooks = fit.get_influence().cooks_distance[0]
    strong = tuple(int(rows[i]) for i in np.argsort(-cooks) if cooks[i] > 4 / len(y))
    spread_p = float(het_breuschpagan(fit.resid, design)[1])
    dw = float(durbin_watson(fit.resid))
    notes = _notes(len(loss) - len(rows), found, x, names, strong, dw, spread_p, len(y))
    steps = _steps(found, fit, x[-1], unit)
    return Drivers(
        float(fit.params[0]),
        float(fit.bse[0]),
        found,
        float(fit.rsquared),
        float(fit.rsquared_adj),
        sqrt(fit.mse_resid),
        int(fit.df_resid),
        rows,
        cooks,
        strong,
        dw,
        own_notes=tuple(notes),
        own_sources=(
            tables.cite("statsmodels", "ordinary least squares and its diagnostics", "read"),
        ),
        own_working=steps,
    )


def _notes(left_out, found, x, names, strong, dw, spread_p, n):
    notes = [
        "a slope says what went together in these batches; only a trial shows what happens when someone turns the knob"
    ]
    if left_out:
        notes.append(f"{left_out} batches with gaps were left out")
    tied = [d.name for d in found if d.vif > tables.value("batches_vif_note")]
    if tied:
        pairs = [
            f"{a} with {b} ({np.corrcoef(x[:, names.index(a)], x[:, names.index(b)])[0, 1]:.2f})"
            for a, b in combinations(tied, 2)
        ]
        with_whom = f": {', '.join(pairs)}" if pairs else " with the others"
        notes.append(
            f"{', '.join(tied)} move together{with_whom}; their separate slopes are unsure, their sum less so"
        )
    if strong:
        notes.append(
            f"batches that pull hardest: {', '.join(str(i + 1) for i in strong[:5])}; look whether they are right, never drop them "
            "for the fit's sake"
        )
    if dw < 1.5:
        notes.append(
            f"leftovers of neighbouring batches resemble one another (Durbin-Watson {dw:.2f}): intervals are too narrow"
        )
    if spread_p < 0.01:
        notes.append("the scatter grows with the columns: intervals are rough")
    if n < 10 * len(names):
        notes.append(
            f"{n} batches for {len(names)} columns: fewer than ten for each, so chance finds slopes easily"
        )
    for name in names:
        if "finished" in name:
            notes.append(
                f"{name} was computed from the finished weight, and so was the loss: one bad weighing moves both, and makes a slope out of nothing"
            )
    return notes


def _steps(found, fit, last, unit):
    terms = {"b": (fit.params[0], unit, "intercept")}
    for i, (d, value) in enumerate(zip(found, last), 1):
        terms |= {f"b{i}": (d.slope, "", f"slope of {d.name}"), f"x{i}": (value, "", d.name)}
    formula = "y = b + " + " + ".join(f"b{i} × x{i}" for i in range(1, len(found) + 1))
    return (
        step("fitted loss of the last batch", formula, fit.fittedvalues[-1], unit, **terms),
        step(
            f"t of {found[0].name}",
            "t = b / s",
            found[0].slope / found[0].se,
            "",
            b=(found[0].slope, "", "slope"),
            s=(found[0].se, "", "its standard error"),
        ),
    )


def shared_error_correlation(sd_top_pct: float, sd_other_pct: float, sd_shared_pct: float) -> float:
    """Correlation of a/c and b/c when a, b and c are not related at all: V_c² / √((V_a² + V_c²)(V_b² + V_c²)), V in % of each mean.

    First order (Pearson 1897), good while each V is below about 20 %. With equal V it is one half: two ratios with one shared weight.
    """
    v = [float(s) for s in (sd_top_pct, sd_other_pct, sd_shared_pct)]
    need(
        all(np.isfinite(s) and 0 <= s <= 20 for s in v) and v[2] > 0,
        "each scatter lies between 0 and 20 % of its mean, the shared one above 0",
    )
    return v[2] ** 2 / sqrt((v[0] ** 2 + v[2] ** 2) * (v[1] ** 2 + v[2] ** 2))
