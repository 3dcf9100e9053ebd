"""Find causes one after another: the best pair, what stands behind it, take its effect out, look again."""

from dataclasses import dataclass
from math import log

import numpy as np
import scipy as sp

from kit import tables
from kit.batches import causes as c
from kit.batches.noise import held_in, likenesses
from kit.batches.patterns import Patterns, labels_of, patterns, usable
from kit.batches.table import PRODUCTS, BatchTable

MOST = 5
STARTING = ("step", "label", "label from", "rework", "drift from", "episode", "odd day")
"""families of patterns that begin at some batch"""


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
    score: float
    chance: float
    likely_starts: tuple[int, ...]
    rivals: tuple[tuple, ...]
    """(series, family, who, via, start) of other explanations that are nearly as good"""
    begins: str
    """'product B', where one begins with it"""


@dataclass(frozen=True)
class Searched:
    """Hits in the order found; `pairs` were tried each time; neighbouring batches of `sticky` series resemble one another."""

    hits: tuple[Hit, ...]
    pairs: int
    sticky: tuple[str, ...]


def search(table: BatchTable, alpha: float) -> Searched:
    """All causes that stand out from noise, at most MOST. `alpha`: chance that a plant without any cause gets a finding."""
    basic, pats = c.basic_series(table), patterns(table)
    if not len(pats.family) or not any(usable(s.y) for s in basic):
        return Searched((), 0, ())
    hits: list[Hit] = []
    known = np.isfinite(np.column_stack([s.y for s in basic]))
    lengths = list(pats.lengths(likenesses(pats.groups), known))
    seen = _look(table, basic, pats, lengths)
    null, pairs = c.shuffled(seen.fitted, pats, seen.ok), int(seen.ok.sum())
    limits, much = null.limits(alpha), 2 / table.n**0.5
    sticky = tuple(s.name for s, like in zip(basic, seen.fitted.alike) if like.share > much)
    for _ in range(MOST):
        seen = _look(table, basic, pats, lengths) if hits else seen
        over = seen.scores - limits[:, None]
        i, m = np.unravel_index(int(over.argmax()), over.shape)
        if over[i, m] < 0:
            break
        if seen.series[i].kind == c.SCALE:
            i, m = _which_scale(table, seen, pats, limits, lengths)
        hit, columns = _hit(table, seen, i, m, pats, null, limits[i])
        hits.append(hit)
        basic = _without(basic, seen.series[i], columns, hit.cause == "rework twice")
    return Searched(tuple(hits), pairs, sticky)


@dataclass(frozen=True, eq=False)
class _Seen:
    """Series as they stand after the causes found so far, and the score of each with each pattern."""

    basic: list
    series: list
    fitted: c.Likened
    ok: np.ndarray
    scores: np.ndarray


def _look(table, basic, pats, lengths) -> _Seen:
    scales = c.scale_series(table, basic)
    series = basic + scales
    ok = c.allowed(series, pats) & np.array([usable(s.y) for s in series])[:, None]
    drawn_in = [_drawn_in(table, s, pats.groups.get("day")) for s in basic]
    fitted = c.fitted(drawn_in, scales, pats, ok, lengths)
    scores = c.scores(fitted, pats, ok)
    # a scale that explains a hand-over exactly as well as a loss on the way is the commoner case
    scores += np.array([0.01 if s.kind == c.SCALE else 0.0 for s in series])[:, None]
    return _Seen(basic, series, fitted, ok, scores)


def _drawn_in(table, series, day):
    """Single figures far from those around them weigh no more than a few others; rework comes and goes and is left as it is."""
    if series.kind == c.STAGE and (table.rework_in_kg[:, table.place(series.name)] > 0).any():
        return series
    return c.replace(series, y=held_in(series.y, day))


def _which_scale(table, seen, pats, limits, lengths):
    """The scale that leaves least to explain: its own score and what the next cause could add once its error is out.

    A second cause at a stage weighed on two scales can make the wrong one of them look right; with the right one out, the second stands clean.
    """
    found = []
    for i, series in enumerate(seen.series):
        m = int(seen.scores[i].argmax())
        if series.kind != c.SCALE or seen.scores[i, m] < limits[i]:
            continue
        after = _look(table, _without(seen.basic, series, pats.raw[:, [m]], False), pats, lengths)
        total = seen.scores[i, m] + max(0.0, (after.scores - limits[:, None]).max())
        found.append((total, i, m))
    return max(found, key=lambda one: one[0])[1:]


def _without(basic, series, columns, twice):
    if series.kind != c.SCALE:
        # rework counted twice stands in the weight into the stage, so it arrives from nowhere as well
        also = {
            s.name
            for s in basic
            if twice and s.kind == c.HANDOVER and s.name.endswith(f" to {series.name}")
        }
        return [c.taken_out(s, columns) if s.name in {series.name, *also} else s for s in basic]
    # the scale's own error, as fitted, leaves every series it moves
    error = series.y - c.taken_out(series, columns).y
    return [
        c.replace(s, y=s.y - a * np.nan_to_num(error)) if abs(a) >= c.LEAST_MOVE else s
        for s, a in zip(basic, series.mix)
    ]


def _hit(table: BatchTable, seen: _Seen, i, m, pats: Patterns, null: c.Null, limit: float):
    series, scored = seen.series[i], seen.scores
    family, who, via = str(pats.family[m]), pats.who[m], pats.via[m]
    score, behind = float(scored[i, m]), None
    if series.kind == c.STAGE and family in ("step", "label", "label from"):
        via = _column_behind(table, i, m, pats, limit, scored)
    elif series.kind == c.STAGE and family == "fact":
        behind = _who_behind(table, via, pats, limit, scored[i])
    shape = behind if behind is not None else m
    if via is not None and family != "fact" or behind is not None:
        shape = _joint_start(table, shape, via, i, pats, scored)
    raw = pats.raw[:, m] if family == "fact" and behind is None else pats.raw[:, shape]
    family, who = str(pats.family[shape]), pats.who[shape]
    if family == "episode":
        raw = _ends_moved(series.y, raw)
    if family == "label":
        codes = labels_of(table)[who[0]]
        if len(set(codes)) == 2 and _slope(series.y, raw, pats)[0] < 0:
            # of two levels name the one that loses more
            who = (who[0], next(v for v in set(codes) if v != who[1]))
            raw = (codes == who[1]).astype(float)
    slope, interval = _slope(series.y, raw, pats)
    columns = [raw]
    if via is not None:
        x = table.facts[via]
        columns.append(np.where(np.isfinite(x), x, np.nanmean(x)))
    cause = _cause(series, family, via, slope)
    touched = raw > np.median(raw) if family == "fact" else raw > 0
    if family in ("drift", "season"):
        touched = np.ones(table.n, bool)
    start = None
    if family in STARTING and touched.any():
        start = int(np.flatnonzero(touched)[0])
    stage = "" if series.kind == c.SCALE else series.name.split(" to ")[0]
    hit = Hit(
        cause,
        series.name,
        stage,
        who,
        via,
        start,
        touched,
        slope,
        interval,
        raw,
        score,
        null.chance(i, score),
        _likely(scored[i], pats, shape),
        _rivals(scored, i, m, seen.series, pats, who, via),
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
        return (
            "rework twice"
            if tables.value("batches_rework_low") <= slope <= tables.value("batches_rework_high")
            else "rework"
        )
    return "column" if via is not None or family == "fact" else str(family)


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


def _column_behind(table, i, m, pats, limit, scored):
    """The process column that moved with the same batches and that the loss follows too; None if there is none."""
    best = None
    for f in np.flatnonzero((pats.family == "fact") & np.isfinite(scored[i])):
        own, r2 = _of_column(table, pats.via[f], pats)
        if (
            own[m] >= limit
            and r2[m] >= tables.value("batches_mediator_share")
            and (best is None or scored[i, f] > best[0])
        ):
            best = (scored[i, f], pats.via[f])
    return best[1] if best else None


def _who_behind(table, via, pats, limit, row):
    """The pattern (who, from when) that the process column itself follows; None if none stands out."""
    own, r2 = _of_column(table, via, pats)
    fits = np.isfinite(row) & np.isin(pats.family, ["step", "label", "label from"])
    own = np.where(fits & (r2 >= tables.value("batches_mediator_share")), own, -np.inf)
    m = int(own.argmax())
    return m if own[m] >= limit else None


def _joint_start(table, m, via, i, pats, scored):
    """Among patterns of the same kind and person, the start that loss and column agree on best."""
    if pats.family[m] not in ("step", "label from"):
        return m
    own, _ = _of_column(table, via, pats)
    both = np.where(pats.same(m) & np.isfinite(scored[i]), own + scored[i], -np.inf)
    return int(both.argmax()) if np.isfinite(both).any() else m


def _likely(row, pats, m):
    """Starts (0-based batches) that carry nine tenths of the likelihood among patterns of the same kind as `m`."""
    same = np.flatnonzero(pats.same(m) & np.isfinite(row))
    if pats.family[m] not in ("step", "label from", "rework", "drift from") or not len(same):
        return ()
    weight = np.exp((row[same] - row[same].max()) / 2)
    order = np.argsort(-weight, kind="stable")
    count = int(np.searchsorted(np.cumsum(weight[order]) / weight.sum(), 0.9)) + 1
    return tuple(sorted({int(np.argmax(pats.raw[:, m] > 0)) for m in same[order[:count]]}))


def _rivals(scored, i, m, every, pats, who, via):
    """Other explanations that are nearly as good, best first, each once."""
    top: float = scored[i, m]
    found: dict[tuple, tuple] = {}
    # a score is twice a log likelihood
    close = np.argwhere(scored > top - 2 * log(tables.value("yields_evidence_ratio")))
    for j, k in sorted(close.tolist(), key=lambda jk: -scored[jk[0], jk[1]]):
        same_person = pats.who[k] is not None and pats.who[k] == who
        same_kind = (
            pats.family[k] == pats.family[m]
            and pats.who[k] == pats.who[m]
            and pats.via[k] == pats.via[m]
        )
        if (j == i and (same_kind or same_person)) or (via and pats.via[k] == via):
            continue
        key = every[j].name, str(pats.family[k]), pats.who[k], pats.via[k]
        found.setdefault(key, (*key, int(pats.start[k])))
    return tuple(found.values())[:3]
