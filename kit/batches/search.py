"""Find causes one after another: the best pair, what stands behind it, take its effect out, look again."""

from dataclasses import dataclass
from functools import partial
from math import log

import numpy as np
import scipy as sp

from kit import tables
from kit.batches import causes as c
from kit.batches.change import likeliest
from kit.batches.noise import held_in, likenesses
from kit.batches.patterns import Patterns, known_or_mean, labels_of, patterns, usable
from kit.batches.table import PRODUCTS, BatchTable

MOST = 5
STARTING = ("step", "label", "label from", "rework", "drift from", "episode", "odd day")
"""families of patterns that begin at some batch"""
WITH_COLUMN = ("step", "label", "label from")
"""families of patterns that a process column can follow as well"""


@dataclass(frozen=True, eq=False)
class Hit:
    """One cause found. `touched` (n,) which batches it touches; `effect` in percentage points (of a column: per unit of it)."""

    cause: str
    series: str
    stage: str
    who: tuple[str, str] | None
    via: str | None
    start: int | None
    touched: np.ndarray
    effect: float
    effect_interval: tuple[float, float]
    pattern: np.ndarray
    """(n,) what one unit of `effect` is multiplied by, batch by batch"""
    chance: float
    likely_starts: tuple[int, ...]
    rivals: tuple[tuple, ...]
    """(series, family, who, start) of other explanations that are nearly as good"""
    begins: str
    """'product B', where one begins with it"""


def search(table: BatchTable, alpha: float) -> tuple[list[Hit], int, list[str]]:
    """All causes that stand out from noise, at most MOST, in the order found; how many pairs were tried each time; the series whose neighbouring
    batches resemble one another. `alpha`: chance that a plant without any cause gets a finding."""
    basic, pats = c.basic_series(table), patterns(table)
    if not len(pats.family) or not any(usable(s.y) for s in basic):
        return [], 0, []
    hits: list[Hit] = []
    known = np.isfinite(np.column_stack([s.y for s in basic]))
    look = partial(_look, table, pats, list(pats.lengths(likenesses(pats.groups), known)))
    series, fitted, ok, scores = look(basic)
    null, much = c.shuffled(fitted, pats, ok), 2 / table.n**0.5
    limits = null.limits(alpha)
    for _ in range(MOST):
        if hits:
            series, _, _, scores = look(basic)
        over = scores - limits[:, None]
        i, m = np.unravel_index(int(over.argmax()), over.shape)
        if over[i, m] < 0:
            break
        if series[i].kind == c.SCALE:
            i, m = _which_scale(look, basic, series, scores, pats, limits)
        hit, columns = _hit(table, series, scores, i, m, pats, null, limits[i])
        hits.append(hit)
        basic = _without(basic, series[i], columns, hit.cause == "rework twice")
    sticky = [s.name for s, like in zip(basic, fitted.alike) if like.share > much]
    return hits, int(ok.sum()), sticky


def _look(table, pats, lengths, basic):
    """All series as they stand after the causes found so far, their fit, which patterns each may have, and the score of each with each."""
    scales = c.scale_series(table, basic)
    series = basic + scales
    ok = c.allowed(series, pats) & np.array([usable(s.y) for s in series])[:, None]
    drawn_in = [_drawn_in(table, s, pats.groups.get("day")) for s in basic]
    fitted = c.fitted(drawn_in, scales, pats, ok, lengths)
    scores = np.where(ok, c.gains(fitted.r, fitted) - pats.price, -np.inf)
    # a scale that explains a hand-over exactly as well as a loss on the way is the commoner case
    scores += np.array([0.01 if s.kind == c.SCALE else 0.0 for s in series])[:, None]
    return series, fitted, ok, scores


def _drawn_in(table, series, day):
    """Single figures far from those around them weigh no more than a few others; rework comes and goes and is left as it is."""
    if series.kind == c.STAGE and (table.rework_in_kg[:, table.place(series.name)] > 0).any():
        return series
    return c.replace(series, y=held_in(series.y, day))


def _which_scale(look, basic, every, scores, pats, limits):
    """The scale that leaves least to explain: its own score and what the next cause could add once its error is out.

    A second cause at a stage weighed on two scales can make the wrong one of them look right; with the right one out, the second stands clean.
    """
    found = []
    for i, series in enumerate(every):
        m = int(scores[i].argmax())
        if series.kind != c.SCALE or scores[i, m] < limits[i]:
            continue
        *_, after = look(_without(basic, series, pats.raw[:, [m]], False))
        total = scores[i, m] + max(0.0, (after - limits[:, None]).max())
        found.append((total, i, m))
    return max(found, key=lambda one: one[0])[1:]


def _without(basic, series, columns, twice):
    if series.kind != c.SCALE:
        # rework counted twice stands in the weight into the stage, so it arrives from nowhere as well
        names = {series.name}
        if twice:
            names |= {s.name for s in basic if s.name.endswith(f" to {series.name}")}
        return [c.taken_out(s, columns) if s.name in names else s for s in basic]
    # the scale's own error, as fitted, leaves every series it moves
    error = series.y - c.taken_out(series, columns).y
    return [
        c.replace(s, y=s.y - a * np.nan_to_num(error)) if abs(a) >= c.LEAST_MOVE else s
        for s, a in zip(basic, series.mix)
    ]


def _hit(table: BatchTable, every, scored, i, m, pats: Patterns, null: c.Null, limit: float):
    series = every[i]
    via, shape = _with_column(table, m, pats, limit, scored[i])
    family, who, raw = str(pats.family[shape]), pats.who[shape], pats.raw[:, shape]
    if family == "episode":
        raw = _ends_moved(series.y, raw)
    if family == "label":
        codes = labels_of(table)[who[0]]
        if len(set(codes)) == 2 and _slope(series.y, raw, pats)[0] < 0:
            # of two levels name the one that loses more
            who = (who[0], next(v for v in set(codes) if v != who[1]))
            raw = (codes == who[1]).astype(float)
    slope, interval = _slope(series.y, raw, pats)
    columns = [raw, known_or_mean(table.facts[via])] if via else [raw]
    touched = raw > np.median(raw) if family == "fact" else raw > 0
    if family in ("drift", "season"):
        touched = np.ones(table.n, bool)
    start = None
    if family in STARTING and touched.any():
        start = int(np.flatnonzero(touched)[0])
    hit = Hit(
        _cause(series, family, via, slope),
        series.name,
        "" if series.kind == c.SCALE else series.name.split(" to ")[0],
        who if family in ("label", "label from") else None,
        via,
        start,
        touched,
        slope,
        interval,
        raw,
        null.chance(i, float(scored[i, m])),
        _likely(scored[i], pats, shape),
        _rivals(scored, i, m, every, pats, who, via),
        _begun(table, start) if family == "step" else "",
    )
    return hit, pats.within(np.column_stack(columns))


def _begun(table, start) -> str:
    """'product B' where a product is first made within two batches of `start`."""
    for name in PRODUCTS:
        for level in np.unique(table.labels.get(name, np.array([], str))):
            first = int(np.argmax(table.labels[name] == level))
            if level and first and abs(first - start) <= 2:
                return f"{name} {level}"
    return ""


def _ends_moved(y, raw):
    """An episode with its two ends moved to where it fits best; the lengths that were tried stand some batches apart."""
    places = np.flatnonzero(raw > 0)
    start, end, n = int(places[0]), int(places[-1]) + 1, len(y)
    reach = max(2, (end - start) // 2)
    x = np.where(np.isfinite(y), y - np.nanmean(y), 0.0)
    total = np.concatenate([[0.0], np.cumsum(x)])
    a = np.arange(max(1, start - reach), start + reach + 1)[:, None]
    b = np.arange(max(1, end - reach), min(n, end + reach) + 1)[None]
    long = np.maximum(b - a, 1)
    fit = (total[b] - total[np.minimum(a, n)]) ** 2 / (long * (1 - np.minimum(long / n, 0.9)))
    i, j = np.unravel_index(int(np.where(b - a >= 3, fit, -1).argmax()), fit.shape)
    moved = np.zeros(n)
    moved[a[i, 0] : b[0, j]] = 1
    return moved


def _cause(series, family, via, slope) -> str:
    if series.kind == c.SCALE:
        return "scale"
    if series.kind == c.HANDOVER:
        return "missing on the way" if slope > 0 else "gained on the way"
    if family == "rework":
        low, high = (tables.value(f"batches_rework_{end}") for end in ("low", "high"))
        return "rework twice" if low <= slope <= high else "rework"
    return "column" if via else family


def _slope(y, raw, pats):
    """Slope of a series on a pattern, products taken out, and its 90 % interval."""
    seen = np.isfinite(y)
    fit = sp.stats.linregress(pats.within(raw)[seen], y[seen])
    half = float(sp.special.stdtrit(seen.sum() - 2, 0.95)) * fit.stderr
    return float(fit.slope), (float(fit.slope - half), float(fit.slope + half))


def _of_column(table, name, pats):
    """Scores of every pattern for a process column taken as a series, and the r² of each."""
    x = np.nan_to_num(pats.within(table.facts[name]))
    r2 = np.minimum((x @ pats.h) ** 2 / (x @ x), 1 - 1e-12)
    return -np.isfinite(table.facts[name]).sum() * np.log1p(-r2) - pats.price, r2


def _with_column(table, m, pats, limit, row):
    """The process column that the loss follows as well, where there is one, and the pattern (who, from when) that both follow best.

    A column that moved with the batches of pattern `m`; where `m` is itself that of a column, what that column follows, if anything stands out.
    """
    known, of_column = np.isfinite(row), pats.family[m] == "fact"
    if not of_column and pats.family[m] not in WITH_COLUMN:
        return None, m
    tried = known & np.isin(pats.family, WITH_COLUMN) if of_column else np.arange(len(row)) == m
    best = None
    for f in [m] if of_column else np.flatnonzero((pats.family == "fact") & known):
        own, r2 = _of_column(table, pats.who[f][0], pats)
        clear = np.where(tried & (r2 >= tables.value("batches_mediator_share")), own, -np.inf)
        if clear.max() >= limit and (best is None or row[f] > best[0]):
            best = (row[f], f, int(clear.argmax()), own)
    if best is None:
        return (pats.who[m][0] if of_column else None), m
    _, f, shape, own = best
    if pats.family[shape] in ("step", "label from"):
        # of patterns of the same kind and person, the start that loss and column agree on best
        shape = int(np.where(pats.same(shape) & known, own + row, -np.inf).argmax())
    return pats.who[f][0], shape


def _likely(row, pats, m):
    """Starts (0-based batches) that carry nine tenths of the likelihood among patterns of the same kind as `m`."""
    same = np.flatnonzero(pats.same(m) & np.isfinite(row))
    if pats.family[m] not in ("step", "label from", "rework", "drift from") or not len(same):
        return ()
    likely = likeliest(row[same] / 2)
    return tuple(sorted({int(np.argmax(pats.raw[:, m] > 0)) for m in same[likely]}))


def _rivals(scored, i, m, every, pats, who, via):
    """Other explanations that are nearly as good, best first, each once."""
    top: float = scored[i, m]
    found: dict[tuple, tuple] = {}
    # a score is twice a log likelihood
    close = np.argwhere(scored > top - 2 * log(tables.value("yields_evidence_ratio")))
    for j, k in sorted(close.tolist(), key=lambda jk: -scored[jk[0], jk[1]]):
        family, whom = str(pats.family[k]), pats.who[k]
        same_kind = (family, whom) == (pats.family[m], pats.who[m])
        same_person = whom is not None and whom == who
        if (j == i and (same_kind or same_person)) or whom == (via, ""):
            continue
        key = every[j].name, family, whom
        found.setdefault(key, (*key, int(pats.start[k])))
    return tuple(found.values())[:3]
