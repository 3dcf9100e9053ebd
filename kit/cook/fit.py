"""What were the coefficient and the wetness in each stage, by this probe log and these weights, and how certain?

Least squares on ln h and wetness of the stages that are asked for. What the log cannot tell is refused with the reason, held at the
value of the schedule, and the rest is fitted again; its uncertainty then widens the intervals of the rest.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy as sp

from kit.cook.cooked import CAUTION, checked
from kit.cook.link import Link
from kit.cook.march import march
from kit.cook.stages import Stage
from kit.errors import OutOfRange, need_between
from kit.faults import need_said, said
from kit.tables import number, value
from kit.working import Result, notes_of, working_of

H, WETNESS = "h_W_per_m2K", "wetness"
_WORDS, _UNITS = {H: "coefficient", WETNESS: "wetness"}, {H: " W/(m² K)", WETNESS: ""}
_SD_HELD = {H: "cook_fit_sd_h", WETNESS: "cook_fit_sd_wetness"}
_TOLD = {H: "cook_fit_told", WETNESS: "cook_fit_told_wetness"}
_ROWS = ("cook_probe_sd", "cook_weight_sd", *_TOLD.values(), *_SD_HELD.values())
_LOW, _HIGH = {H: np.log(1.0), WETNESS: 0.0}, {H: np.log(5000.0), WETNESS: 1.0}


@dataclass(frozen=True)
class Fitted:
    """One number learned, low and high a 90 % interval; or one that the log cannot tell, held at the schedule's own value, with `why`."""

    stage: str
    what: str
    """h_W_per_m2K or wetness"""
    value: float
    low: float
    high: float
    why: str = ""

    @property
    def words(self) -> str:
        form, unit = ".3g" if self.what == H else ".2f", _UNITS[self.what]
        best, low, high = (f"{each:{form}}" for each in (self.value, self.low, self.high))
        held = f"not learned, held at {best}{unit}: {self.why}"
        learned = f"{best} ({low} to {high}){unit}"
        return f"{self.stage}: {_WORDS[self.what]} {held if self.why else learned}"


@dataclass(frozen=True)
class Fit(Result):
    fitted: tuple[Fitted, ...]
    refused: tuple[Fitted, ...]
    schedule: tuple[Stage, ...]
    """the schedule with what was learned put in; use it again"""
    rms_K: float

    @property
    def words(self) -> tuple[str, ...]:
        """One line for each number learned, with its interval, then one for each that was not, with the reason."""
        return tuple(one.words for one in (*self.fitted, *self.refused))


def fit_log(
    link: Link,
    schedule: Sequence[Stage],
    minutes,
    probe_C,
    *,
    losses_pct: dict[int, float] | None = None,
) -> Fit:
    """Learn heat transfer coefficients and wetness from one probe log.

    link: the Link that was probed
    schedule: its Stages
    minutes: of each reading from the start of the schedule, min, rising
    probe_C: readings, °C
    losses_pct: {stage from 0: weight lost from the start to its end, % of the start weight}
    Returns Fit: each number with a 90 % interval, or the reason why it was refused.
    Raises OutOfRange for an empty or unordered log, times outside the schedule, values that are no temperatures.
    Valid where the schedule is what was run and the probe sits on the axis.
    Source: least squares on `cook`; data/reference/cook.csv.
    """
    stages = checked(schedule)
    times, probe = _log(minutes, probe_C, stages)
    losses = {
        i: need_between(f"loss after stage {i}", v, -5, 60)
        for i, v in sorted((losses_pct or {}).items())
    }
    in_it = all(0 <= i < len(stages) for i in losses)
    need_said(in_it, "losses by stage", last=len(stages) - 1)
    # the number that a correlation gives, so that the fit has somewhere to start
    laws = march(link, stages, places=(0.0,)).exchanges
    held = tuple(replace(stage, h_W_per_m2K=float(law.h)) for stage, law in zip(stages, laws))
    model = _Model(link, held, times, probe, losses)
    wanted, refused = _asked(model)
    x, half, more = _learn(model, wanted)
    fitted, learned = [], list(held)
    for (index, what), best, wide in zip(wanted, x, half):
        ends = (best, best - wide, best + wide)
        at, low, high = (float(_as_meant(what, each)) for each in ends)
        fitted.append(Fitted(held[index].name, what, at, low, high))
        learned[index] = replace(learned[index], **{what: at})
    residual = model.residuals(x, wanted)
    off, loss_off = residual[: len(times)] * model.sd, residual[len(times) :] * model.loss_sd
    rms = float(np.sqrt(np.mean(off**2)))
    return Fit(
        fitted=tuple(fitted),
        refused=(*refused, *more),
        schedule=tuple(learned),
        rms_K=rms,
        own_notes=_notes(model, rms, loss_off, fitted),
        own_sources=tuple(number(row).cite() for row in _ROWS),
        own_working=working_of("fit of a cook", rms=rms, S=float((off**2).sum()), n=len(times)),
    )


def _as_meant(what: str, fitted):
    """A coefficient is fitted as its logarithm, a wetness as it is."""
    return np.exp(fitted) if what == H else np.clip(fitted, 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class _Model:
    """Log minus model over error, for any set of parameters; many parameter sets in one march."""

    link: Link
    stages: tuple[Stage, ...]
    times: np.ndarray
    probe: np.ndarray
    losses: dict[int, float]
    sd: float = field(default_factory=lambda: value("cook_probe_sd"))
    loss_sd: float = field(default_factory=lambda: value("cook_weight_sd"))

    def many(self, sets: np.ndarray, wanted) -> np.ndarray:
        """(sets, parameters) -> residuals (readings, sets)."""
        ends = np.cumsum([stage.minutes for stage in self.stages])
        last = max(int(np.searchsorted(ends, self.times[-1] - 1e-9)), *self.losses, 0)
        stages = list(self.stages[: last + 1])
        for column, (index, what) in enumerate(wanted):
            if index <= last:
                values = _as_meant(what, sets[:, column])
                stages[index] = replace(stages[index], **{what: values})
        links = replace(self.link, diameter_mm=np.full(len(sets), float(self.link.diameter_mm)))
        run = march(links, stages, places=(0.0,))
        when, probes = run.seconds / 60, run.probes_C[:, 0].T
        traces = np.stack([np.interp(self.times, when, probe) for probe in probes], axis=1)
        total = np.cumsum(links.pct_lost(run.evaporated_kg_per_m2), axis=0)
        off = [(total[i] - lost) / self.loss_sd for i, lost in self.losses.items()]
        return np.vstack([(traces - self.probe[:, None]) / self.sd, *off])

    def residuals(self, x, wanted):
        return self.many(np.asarray(x, float)[None], wanted)[:, 0]

    def jacobian(self, x, wanted):
        """Forward differences, inward at an upper bound, all in one march."""
        high = np.array([_HIGH[what] for _, what in wanted])
        moves = np.where(x + 1e-4 > high, -1e-4, 1e-4)
        out = self.many(np.vstack([x, x + np.diag(moves)]), wanted)
        return (out[:, 1:] - out[:, :1]) / moves

    def held(self, parameters) -> np.ndarray:
        """The schedule's own values, as fitted."""
        own = [(what, float(getattr(self.stages[index], what))) for index, what in parameters]
        return np.array([np.log(number) if what == H else number for what, number in own])

    def solve(self, wanted):
        low, high = (np.array([table[what] for _, what in wanted]) for table in (_LOW, _HIGH))
        return sp.optimize.least_squares(
            self.residuals,
            np.clip(self.held(wanted), low + 1e-3, high - 1e-3),
            self.jacobian,
            (low, high),
            args=(wanted,),
            xtol=1e-9,
            ftol=1e-10,
            max_nfev=60,
        ).x


def _learn(model: _Model, wanted):
    """(best values, half widths, what was refused); each number that the log leaves too open is taken out of `wanted`, the worst first."""
    refused: list[Fitted] = []
    doubtful: list[tuple[int, str]] = []
    while wanted:
        x = model.solve(wanted)
        half, cov = _half_widths(model, x, wanted, doubtful)
        told = np.array([value(_TOLD[what]) for _, what in wanted])
        worst = int(np.argmax(half / told))
        coefficients = np.array([what == H for _, what in wanted])
        at_edge = coefficients & ((x < _LOW[H] + 1e-3) | (x > _HIGH[H] - 1e-3))
        if half[worst] > told[worst]:
            why = _why(worst, wanted, half, cov, model)
        elif not at_edge.any():
            return x, half, refused
        else:
            worst, why = int(at_edge.argmax()), "the best value is more than air or water can do"
        doubtful.append(wanted.pop(worst))
        refused.append(_refused(model, *doubtful[-1], why))
    return np.empty(0), np.empty(0), refused


def _refused(model: _Model, index: int, what: str, why: str) -> Fitted:
    stage = model.stages[index]
    own = float(getattr(stage, what))
    return Fitted(stage.name, what, own, own, own, why)


def _half_widths(model: _Model, x, wanted, doubtful):
    """Half widths of 90 % intervals from the curvature at the optimum, and the covariance, with the uncertainty of what is held.

    A direction that the log does not see comes out huge, not zero. The residual spread is never taken below the stated error, and neighbours that say the
    same count once (lag-1 correlation).
    """
    parameters = len(wanted)
    jac = model.jacobian(np.append(x, model.held(doubtful)), [*wanted, *doubtful])
    known = [0.0] * parameters + [value(_SD_HELD[what]) ** -2 for _, what in doubtful]
    off = model.residuals(x, wanted)[: len(model.times)]
    n, centred = len(off), off - off.mean()
    spread = max(1.0, float(np.sqrt((off**2).sum() / max(n - parameters, 1))))
    total = float((centred**2).sum())
    lag = float((centred[1:] * centred[:-1]).sum()) / total if total > 0 else 0.0
    lag = min(max(lag, 0.0), 0.98)
    scale = spread * np.sqrt((1 + lag) / (1 - lag))
    independent = max(n * (1 - lag) / (1 + lag), parameters + 2.0)
    values, vectors = np.linalg.eigh(jac.T @ jac / scale**2 + np.diag(known))
    cov = (vectors @ np.diag(1 / np.maximum(values, 1e-12)) @ vectors.T)[:parameters, :parameters]
    return np.sqrt(np.diag(cov)) * sp.special.stdtrit(max(independent - parameters, 2.0), 0.95), cov


def _why(worst, wanted, half, cov, model: _Model) -> str:
    index, what = wanted[worst]
    sd = np.sqrt(np.diag(cov))
    with_others = np.abs(cov[worst] / (sd[worst] * sd))
    with_others[worst] = 0
    size = f"± {half[worst]:.2g}"
    if what == H:
        size = f"a factor of {np.exp(min(half[worst], 20)):.3g} either way"
    text, closest = f"the log leaves it open by {size}", float(with_others.max())
    if closest > 0.9:
        other, word = wanted[int(with_others.argmax())]
        text += f"; it cannot be told from the {_WORDS[word]} of {model.stages[other].name} (correlation {closest:.2f})"
        if WETNESS in (what, word) and index not in model.losses:
            text += f": weigh the link after {model.stages[index].name}"
    elif what == H:
        text += ": the core hardly feels it, because the inside or the plateau rules; log a surface probe or more often at the start of the stage"
    return text


def _log(minutes, probe_C, stages):
    try:
        times, probe = np.asarray(minutes, float).ravel(), np.asarray(probe_C, float).ravel()
    except (TypeError, ValueError):
        raise OutOfRange(said("log no numbers")) from None
    total, frozen = sum(stage.minutes for stage in stages), value("freezing_C_meat")
    need_said(times.size == probe.size, "log of pairs", times=times, probe=probe)
    need_said(times.size >= 8, "log too short", times=times)
    need_said(bool(np.isfinite([times, probe]).all()), "log with a gap")
    need_said(bool(np.all(np.diff(times) > 0)), "log not rising")
    first, last, least, most = times[0], times[-1], probe.min(), probe.max()
    within = first >= 0 and last <= total + 1e-6
    need_said(within, "log past the schedule", first=first, last=last, total=total)
    need_said(most < 150, "log too hot", most=most)
    need_said(least >= frozen, "log of ice", least=least, frozen=frozen)
    return times, probe


def _asked(model: _Model):
    """(what can be fitted, what is refused before the fit): every coefficient, and the wetness wherever water can leave."""
    edges = np.cumsum([0.0, *(stage.minutes for stage in model.stages)])
    wanted, refused = [], []
    for index, stage in enumerate(model.stages):
        within = (model.times > edges[index]) & (model.times <= edges[index + 1] + 1e-9)
        inside = int(within.sum())
        for what in (H, WETNESS) if stage.vapour_Pa is not None else (H,):
            if inside >= 3 or what == WETNESS and index in model.losses:
                wanted.append((index, what))
            else:
                why = f"the log has {inside} readings in this stage; it needs at least 3"
                refused.append(_refused(model, index, what, why))
    return wanted, refused


def _notes(model: _Model, rms: float, loss_off, fitted) -> tuple[str, ...]:
    most = np.abs(loss_off).max(initial=0.0)
    holds = {"misses": rms > 3 * model.sd, "loss": most > 3 * model.loss_sd, "nothing": not fitted}
    notes = notes_of("fit of a cook", holds, rms=rms, sd=model.sd, most=most)
    return (*model.link.notes, *notes, CAUTION)
