"""What varies: lots, days, operators, smokehouses, positions, or the scale itself?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from math import nan, sqrt

import numpy as np
import scipy as sp

from kit import tables
from kit.errors import look_up
from kit.faults import need_said
from kit.working import Result, notes_of, working_of

ROUNDS = 200
"""simulations of the fitted model, for the intervals"""


@dataclass(frozen=True)
class Component:
    """`variance` is the estimate as it came out, cut at 0; `interval` 90 %, None where it was not asked for."""

    name: str
    variance: float
    share_pct: float
    interval: tuple[float, float] | None

    @property
    def sd(self) -> float:
        return sqrt(self.variance)


@dataclass(frozen=True)
class Components(Result):
    """Components in the order given, `within` (what is left) last."""

    mean: float
    components: tuple[Component, ...]
    method: str

    def part(self, name: str) -> Component:
        return look_up("component", name, {p.name: p for p in self.components})

    @property
    def total(self) -> float:
        return sum(p.variance for p in self.components)


@dataclass(frozen=True)
class Gauge(Result):
    """A gauge study: variances of one reading repeated, of operators, of operator with part, and of the parts themselves."""

    repeatability: float
    operator: float
    interaction: float
    part: float
    interaction_p: float
    pooled: bool
    table: tuple[tuple[str, int, float], ...]
    """(source, degrees of freedom, sum of squares)"""

    @property
    def gauge(self) -> float:
        return self.repeatability + self.operator + self.interaction

    @property
    def total(self) -> float:
        return self.gauge + self.part

    @property
    def gauge_pct_of_spread(self) -> float:
        """Standard deviation of the gauge as a percentage of the whole standard deviation."""
        return 100 * sqrt(self.gauge / self.total)


def _columns(values, factors: Mapping[str, Sequence]):
    y = np.asarray(values, float)
    need_said(y.ndim == 1 and len(factors) >= 1, "no factor")
    need_said(all(len(f) == len(y) for f in factors.values()), "labels of a factor")
    keep = np.isfinite(y)
    codes = {}
    for name, labels in factors.items():
        labels = np.asarray(labels).astype(str)[keep]
        levels, code = np.unique(labels, return_inverse=True)
        need_said(len(levels) >= 2, "one level", name=name)
        codes[name] = code
    return y[keep], codes


def _anova(codes: Mapping[str, np.ndarray]):
    """Factors taken one after the other, then what is left: the designs (n, levels), the degrees of freedom, what one unit of each component adds to
    each sum of squares, and the function that gives the sums of squares of columns (n, k)."""
    names = list(codes)
    bases: list[np.ndarray] = []
    designs = [np.eye(code.max() + 1)[code] for code in codes.values()]
    n = len(designs[0])
    done = np.full((n, 1), n**-0.5)
    for name, z in zip(names, designs):
        left = z - done @ (done.T @ z)
        u, s, _ = np.linalg.svd(left, full_matrices=False)
        basis = u[:, s > 1e-8 * max(s.max(), 1)]
        need_said(
            basis.shape[1] > 0,
            "factor with others",
            name=name,
            others=", ".join(names[: len(bases)]),
        )
        bases.append(basis)
        done = np.hstack([done, basis])
    dof = [b.shape[1] for b in bases] + [n - done.shape[1]]
    need_said(dof[-1] >= 1, "nothing within")
    expect = np.zeros((len(dof), len(dof)))
    for i, basis in enumerate(bases):
        expect[i] = [((basis.T @ z) ** 2).sum() for z in designs] + [dof[i]]
    expect[-1, -1] = dof[-1]

    def squares(columns: np.ndarray) -> np.ndarray:
        of = np.array([((b.T @ columns) ** 2).sum(axis=0) for b in bases])
        centred = columns - columns.mean(axis=0)
        return np.vstack([of, (centred**2).sum(axis=0) - of.sum(axis=0)])

    return designs, dof, expect, squares


def components(values, factors: Mapping[str, Sequence], *, unit: str = "") -> Components:
    """Variance components by analysis of variance, factors taken one after the other; balanced or not, nested or crossed.

    Sum of squares of each factor after those before it is set equal to its expectation, Σ_j v_j tr(Z_j' Q Z_j); for balanced data this is the
    textbook table and, when no component comes out negative, the REML answer. A factor that adds nothing to those before it is refused.
    Intervals: 90 %, by simulating the fitted model. Memory grows as n²: at most 3000 values (use `reml` beyond).
    """
    y, codes = _columns(values, factors)
    n, names = len(y), list(codes)
    need_said(n <= 3000, "many for components", n=n)
    designs, dof, expect, squares = _anova(codes)
    ss = squares(y[:, None])[:, 0]
    raw = np.linalg.solve(expect, ss)
    rng, cut = np.random.default_rng(911), np.sqrt(np.maximum(raw, 0))
    drawn = cut[-1] * rng.normal(size=(n, ROUNDS))
    for z, sd in zip(designs, cut):
        drawn += sd * rng.normal(size=(z.shape[1], ROUNDS))[z.argmax(axis=1)]
    again = np.maximum(np.linalg.solve(expect, squares(drawn)), 0)
    intervals = [(float(a), float(b)) for a, b in np.quantile(again, [0.05, 0.95], axis=1).T]
    words = {"square": f"{unit}²" if unit else "", "first": names[0]}
    within = {"w": raw[-1], "R": ss[-1], "g": dof[-1]}
    first = {"S": ss[0], "f": dof[0], "c": expect[0, 0], "v": raw[0] if len(names) == 1 else None}
    steps = working_of("variance components", **words, **within, **first)
    few = ", ".join(name for name, d in zip((*names, "within"), dof) if d < 5)
    notes = notes_of("variance components", {"few": few}, few=few)
    method = "analysis of variance, one factor after the other"
    return _built(float(y.mean()), names, raw, method, notes, intervals, steps)


def reml(values, factors: Mapping[str, Sequence]) -> Components:
    """Variance components by restricted maximum likelihood.

    values: one of each reading, in one unit
    factors: {name: the level of each reading}, crossed
    Returns Components: variance of each factor and of the rest, without intervals.
    Raises OutOfRange for factors that do not fit the values or have one level only.
    For unbalanced data the better estimate; slower. Components near zero are not to be trusted.
    Source: mixed model of statsmodels.
    """
    import warnings

    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM
    from statsmodels.tools.sm_exceptions import ConvergenceWarning

    y, codes = _columns(values, factors)
    scale = float(y.std(ddof=1))
    need_said(scale > 0, "no variation")
    columns = {f"f{i}": code for i, code in enumerate(codes.values())}
    frame = pd.DataFrame({"y": (y - y.mean()) / scale, "all": 1, **columns})
    levels = {name: f"0 + C({name})" for name in columns}
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        model = MixedLM.from_formula("y ~ 1", groups="all", vc_formula=levels, data=frame)
        # one search can stop short without saying so; the higher likelihood of two is taken
        fit = max(
            (model.fit(reml=True, method=[way]) for way in ("powell", "bfgs")), key=lambda f: f.llf
        )
    warned = any(issubclass(w.category, ConvergenceWarning) for w in said)
    notes = notes_of("reml", {"open": not fit.converged, "zero": fit.converged and warned})
    by_name = dict(zip(fit.model.exog_vc.names, fit.vcomp))
    raw = scale**2 * np.array([*(by_name[name] for name in columns), fit.scale])
    mean = float(y.mean() + scale * fit.fe_params.iloc[0])
    return _built(mean, list(codes), raw, "restricted maximum likelihood", notes)


def _built(mean, factors, raw, method, notes, intervals=None, steps=()) -> Components:
    names = [*factors, "within"]
    variances = [max(float(v), 0.0) for v in raw]
    total = sum(variances)
    below = (notes_of("below zero", {}, name=name, v=v) for name, v in zip(names, raw) if v < 0)
    parts = zip(names, variances, intervals or [None] * len(names))
    known = {f"v{i}": (v, "", name) for i, (v, name) in enumerate(zip(variances, names))}
    return Components(
        mean,
        tuple(Component(name, v, 100 * v / (total or nan), part) for name, v, part in parts),
        method,
        own_notes=(*chain.from_iterable(below), *notes),
        own_sources=(tables.computed("variance components"),),
        own_working=(
            *steps,
            *working_of("variance in all", T=total, parts=" + ".join(known), **known),
        ),
    )


def gauge_study(
    values, operators: Sequence, parts: Sequence, *, pool_above: float | None = None
) -> Gauge:
    """Gauge repeatability and reproducibility: two-way crossed analysis of variance.

    values: readings, in one unit
    operators: who read each, or which scale; as many as the values
    parts: which part (link, test load) each is of; every operator reads every part equally often, at least twice
    pool_above: p of the interaction, 0 to 1, above which it is pooled with the error (a data row where left out); 1 never pools
    Returns Gauge: variance by part, operator, interaction and repeat, with shares.
    Raises OutOfRange for a study that is not crossed and balanced.
    Valid for normal errors of equal spread. Negative estimates are shown as 0 and said.
    Source: analysis of variance of a crossed two-way layout; data/reference/batches.csv.
    """
    y = np.asarray(values, float)
    need_said(bool(np.isfinite(y).all()), "reading not finite")
    op, a = np.unique(np.asarray(operators).astype(str), return_inverse=True)
    pt, b = np.unique(np.asarray(parts).astype(str), return_inverse=True)
    o, p = len(op), len(pt)
    need_said(len(a) == len(b) == len(y), "readings unnamed")
    need_said(o >= 2 and p >= 2, "one operator")
    count = np.zeros((o, p), int)
    np.add.at(count, (a, b), 1)
    r, least, most = int(count[0, 0]), int(count.min()), int(count.max())
    i, j = np.unravel_index(int(count.argmin()), count.shape)
    known = {"operator": op[i], "part": pt[j], "least": least, "most": most}
    need_said(least == most and r >= 2, "unbalanced study", **known)
    need_said(len(set(zip(a.tolist(), b.tolist(), y.tolist()))) > o * p, "readings copied")
    codes = {"operator": a, "part": b}
    _, dof, expect, squares = _anova(codes | {"interaction": a * p + b})
    sums = squares(y[:, None])[:, 0]
    _, ms_part, below, _ = sums / dof
    p_value = float(sp.special.fdtrc(*dof[2:], below / (sums[3] / dof[3])))
    rows = tuple(zip(("operator", "part", "operator with part", "repeats"), dof, sums.tolist()))
    pooled = p_value > (tables.value("batches_gauge_pool_p") if pool_above is None else pool_above)
    if pooled:
        _, dof, expect, squares = _anova(codes)
        sums = squares(y[:, None])[:, 0]
    *raw, error = np.linalg.solve(expect, sums).tolist()
    found = dict(zip(("operator", "part", "interaction"), (*raw, 0.0)))
    readings = len(np.unique(y))
    holds = {name: v < 0 for name, v in found.items()}
    holds |= {"two": o < 3, "coarse": 1 < readings < 8}
    repeats = {"v": error, "S": sums[-1], "f": dof[-1]}
    of_part = {"M": ms_part, "N": error if pooled else below, "o": o, "r": r}
    of_part["p"] = found["part"] if found["part"] >= 0 else None
    operator, part, interaction = (max(v, 0.0) for v in found.values())
    return Gauge(
        error,
        operator,
        interaction,
        part,
        p_value,
        pooled,
        rows,
        own_notes=notes_of("gauge study", holds, readings=readings),
        own_sources=(tables.number("batches_gauge_pool_p").cite(),),
        own_working=working_of("gauge study", **repeats, **of_part),
    )
