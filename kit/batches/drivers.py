"""What drives a loss? Regression on the process columns, with what can fool it shown beside it. statsmodels does the sums."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from kit import tables
from kit.faults import need_said
from kit.working import Result, Step, notes_of, working_of

LEAST_DURBIN_WATSON = 1.5
"""below which the residuals of neighbouring batches resemble one another"""


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

    drivers: tuple[Driver, ...]
    r2_adjusted: float
    rows: np.ndarray
    strong: tuple[int, ...]
    """batches (0-based) whose removal would move the answer most: Cook's D above 4 / n"""
    durbin_watson: float


def drivers(loss, columns: Mapping[str, np.ndarray]) -> Drivers:
    """Ordinary least squares of a loss on recorded variables.

    loss: loss of each batch, % of what went in, shape (n,), nan where unknown
    columns: {name: values of shape (n,)}, each in its own unit, nan where unknown
    Returns Drivers: slopes with 90 % intervals, collinearity (VIF) and influential batches.
    Raises OutOfRange for too few batches, or a column that does not vary.
    Batches with a gap in any column are left out and counted in the notes. Columns named "... of
    finished" share the error of the weight that the loss was computed from; a note says so. Keep
    drying and fat separation as separate responses.
    Source: ordinary least squares; data/reference/batches.csv.
    """
    import statsmodels.api as sm
    from statsmodels.stats.diagnostic import het_breuschpagan
    from statsmodels.stats.outliers_influence import variance_inflation_factor
    from statsmodels.stats.stattools import durbin_watson

    y = np.asarray(loss, float)
    need_said(bool(columns), "nothing to explain with")
    names = list(columns)
    x = np.column_stack([np.asarray(columns[name], float) for name in names])
    need_said(len(x) == len(y), "column of another length")
    rows = np.flatnonzero(np.isfinite(y) & np.isfinite(x).all(axis=1))
    least, listed = len(names) + 3, ", ".join(names)
    need_said(len(rows) >= least, "few for columns", rows=len(rows), columns=listed, least=least)
    y, x = y[rows], x[rows]
    still = [name for name, column in zip(names, x.T) if np.ptp(column) == 0]
    need_said(not still, "column that never varies", still=", ".join(still))
    scaled = (x - x.mean(axis=0)) / x.std(axis=0)
    _, singular, together = np.linalg.svd(scaled, full_matrices=False)
    tied = ", ".join(n for n, w in zip(names, np.abs(together[-1])) if w > 0.1)
    need_said(singular[-1] >= 1e-9 * singular[0], "columns tied", tied=tied)
    design, spread = sm.add_constant(x), sm.add_constant(scaled)
    fit = sm.OLS(y, design).fit()
    interval = fit.conf_int(0.1)
    found = tuple(
        Driver(
            name,
            float(fit.params[i]),
            float(fit.bse[i]),
            (float(interval[i][0]), float(interval[i][1])),
            float(fit.pvalues[i]),
            float(variance_inflation_factor(spread, i)),
        )
        for i, name in enumerate(names, 1)
    )
    cooks = fit.get_influence().cooks_distance[0]
    strong = tuple(int(rows[i]) for i in np.argsort(-cooks) if cooks[i] > 4 / len(y))
    dw = float(durbin_watson(fit.resid))
    uneven = het_breuschpagan(fit.resid, design)[1] < 0.01
    holds = {"neighbours": dw < LEAST_DURBIN_WATSON, "scatter": uneven}
    source = tables.cite("statsmodels", "ordinary least squares and its diagnostics", "read")
    return Drivers(
        found,
        float(fit.rsquared_adj),
        rows,
        strong,
        dw,
        own_notes=(
            *_notes(len(loss) - len(rows), found, np.corrcoef(x, rowvar=False), strong, len(y)),
            *notes_of("residuals of a regression", holds, dw=dw),
        ),
        own_sources=(source,),
        own_working=_steps(found, fit, x[-1]),
    )


def _notes(left_out: int, found, correlation: np.ndarray, strong, n: int) -> Iterator[str]:
    tied = [i for i, d in enumerate(found) if d.vif > tables.value("batches_vif_note")]
    pairs = ", ".join(
        f"{found[i].name} with {found[j].name} ({correlation[i, j]:.2f})"
        for i, j in combinations(tied, 2)
    )
    holds = {"gaps": left_out, "pairs": pairs, "tied": tied and not pairs, "strong": strong}
    yield from notes_of(
        "regression",
        holds | {"few": n < 10 * len(found)},
        left_out=left_out,
        together=", ".join(found[i].name for i in tied),
        pairs=pairs,
        pull=", ".join(str(i + 1) for i in strong[:5]),
        n=n,
        columns=len(found),
    )
    for d in found:
        if "finished" in d.name:
            yield from notes_of("column of finished", {}, column=d.name)


def _steps(found: tuple[Driver, ...], fit, last) -> tuple[Step, ...]:
    first, known = found[0], {"y": fit.fittedvalues[-1], "b": fit.params[0]}
    for i, (d, value) in enumerate(zip(found, last), 1):
        known |= {f"b{i}": (d.slope, "", f"slope of {d.name}"), f"x{i}": (value, "", d.name)}
    slopes = " + ".join(f"b{i} × x{i}" for i in range(1, len(found) + 1))
    t = {"t": first.slope / first.se, "s": first.se}
    return working_of("regression", slopes=slopes, first=first.name, **known, **t)
