"""What were the coefficient and the wetness in each stage, by this probe log and these weights, and how surely?

Least squares on ln h and wetness of the stages that are asked for. What the log cannot tell is refused with the reason, held at the
value of the schedule, and the rest is fitted again; its doubt then widens the intervals of the rest.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import t as student

from kit.cook.cooked import CAUTION, checked
from kit.cook.link import Link
from kit.cook.march import march
from kit.cook.stages import Stage, coefficient
from kit.errors import OutOfRange, need, need_between
from kit.tables import number, value
from kit.working import Step, step

H, WETNESS = "h_W_per_m2K", "wetness"
_WORDS = {H: "coefficient", WETNESS: "wetness"}
_UNITS = {H: " W/(m² K)", WETNESS: ""}
_DOUBT = {H: "cook_fit_doubt_h", WETNESS: "cook_fit_doubt_wetness"}
_LOW, _HIGH = {H: np.log(1.0), WETNESS: 0.0}, {H: np.log(5000.0), WETNESS: 1.0}


@dataclass(frozen=True)
class Fitted:
    """One number learned; low and high hold 95 %."""

    stage: str
    what: str
    """h_W_per_m2K or wetness"""
    value: float
    low: float
    high: float

    @property
    def words(self) -> str:
        best, low, high = (
            _shown(self.what, number) for number in (self.value, self.low, self.high)
        )
        return f"{self.stage}: {_WORDS[self.what]} {best} ({low} to {high}){_UNITS[self.what]}"


@dataclass(frozen=True)
class Refused:
    """One number that the log cannot tell, held at the schedule's own value."""

    stage: str
    what: str
    held_at: float
    why: str

    @property
    def words(self) -> str:
        return f"{self.stage}: {_WORDS[self.what]} not learned, held at {_shown(self.what, self.held_at)}{_UNITS[self.what]}: {self.why}"


@dataclass(frozen=True)
class Fit:
    fitted: tuple[Fitted, ...]
    refused: tuple[Refused, ...]
    schedule: tuple[Stage, ...]
    """the schedule with what was learned put in; use it again"""
    residuals_K: np.ndarray
    rms_K: float
    loss_residuals_pct: np.ndarray
    independent_readings: float
    """readings after counting neighbours that say the same"""
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...] = field(repr=False)

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
    ask: Sequence[tuple[int, str]] | None = None,
    off_axis_mm: float = 0.0,
    losses_pct: dict[int, float] | None = None,
    probe_sd_K: float | None = None,
    loss_sd_pct: float | None = None,
) -> Fit:
    """Learn from one probe log.

    `minutes` from the start of the schedule, increasing; `probe_C` at `off_axis_mm` from the axis. `losses_pct[i]` is the weight lost from the
    start up to the end of stage i (0 is the first), % of the start weight. `ask` lists (stage index, 'h_W_per_m2K' or 'wetness');
    without it, every coefficient of the stages that the log covers, and the wetness of those where water can leave.
    Raises OutOfRange for an empty or unordered log, times outside the schedule, or values that are no temperatures.
    """
    stages = checked(schedule, 20, 30)
    times, probe = _log(minutes, probe_C, stages)
    frozen = value("freezing_C_meat")
    need(
        float(np.min(probe)) >= frozen,
        f"the log comes to {np.min(probe):.1f} °C, below the freezing point of {frozen:g} °C, where ice holds the core: leave those rows out",
    )
    radius_mm = float(link.diameter_mm) / 2
    radius = (
        need_between(
            "probe off the axis", off_axis_mm, 0, radius_mm, "it cannot lie outside the link"
        )
        / radius_mm
    )
    losses = {
        i: need_between(f"loss after stage {i}", v, -5, 60)
        for i, v in sorted((losses_pct or {}).items())
    }
    need(
        all(0 <= i < len(stages) for i in losses),
        f"losses are keyed by stage, 0 to {len(stages) - 1}",
    )
    sd = (
        value("cook_probe_sd")
        if probe_sd_K is None
        else need_between("probe error", probe_sd_K, 0.01, 10)
    )
    loss_sd = (
        value("cook_weight_sd")
        if loss_sd_pct is None
        else need_between("error of a loss", loss_sd_pct, 0.01, 10)
    )
    held = _with_coefficients(link, stages)
    edges = np.concatenate([[0], np.cumsum([stage.minutes for stage in stages])])
    wanted, refused = _asked(ask, held, edges, times, losses)
    doubtful: list[tuple[int, str]] = []  # refused, but their own doubt widens what is fitted
    model = _Model(link, held, times, probe, radius, losses, sd, loss_sd)
    while wanted:
        x = model.solve(wanted)
        residual = model.residuals(x, wanted)
        scale, independent = _scale(residual[: len(times)], len(wanted))
        half, cov = _half_widths(
            *model.jacobian(x, wanted, doubtful), scale, independent, len(wanted)
        )
        limits = np.array(
            [
                value("cook_fit_told") if what == H else value("cook_fit_told_wetness")
                for _, what in wanted
            ]
        )
        worst = int(np.argmax(half / limits))
        edge = _at_edge(x, wanted)
        if half[worst] <= limits[worst] and edge is None:
            break
        if half[worst] > limits[worst]:
            why = _why(worst, wanted, half, cov, held, losses)
        else:
            worst, why = edge
        index, what = wanted.pop(worst)
        doubtful.append((index, what))
        refused.append(Refused(held[index].name, what, float(getattr(held[index], what)), why))
    if not wanted:
        x = half = np.empty(0)
        residual = model.residuals(x, [])
        independent = _scale(residual[: len(times)], 0)[1]
    learned, fitted = held, []
    for (index, what), best, wide in zip(wanted, x, half):
        back = np.exp if what == H else (lambda v: float(np.clip(v, 0, 1)))
        fitted.append(
            Fitted(
                held[index].name,
                what,
                float(back(best)),
                float(back(best - wide)),
                float(back(best + wide)),
            )
        )
        learned = tuple(
            replace(s, **{what: fitted[-1].value}) if i == index else s
            for i, s in enumerate(learned)
        )
    off, loss_off = -residual[: len(times)] * sd, -residual[len(times) :] * loss_sd
    rms = float(np.sqrt(np.mean(off**2)))
    return Fit(
        tuple(fitted),
        tuple(refused),
        learned,
        off,
        rms,
        loss_off,
        independent,
        _notes(rms, sd, loss_off, loss_sd, fitted, link),
        tuple(
            number(f"cook_{row}").cite()
            for row in (
                "probe_sd",
                "weight_sd",
                "fit_told",
                "fit_told_wetness",
                "fit_doubt_h",
                "fit_doubt_wetness",
            )
        ),
        (
            step(
                "Root mean square of log minus model",
                "rms = √(S / n)",
                rms,
                "K",
                S=(float((off**2).sum()), "K²"),
                n=(len(times),),
            ),
            *(
                step(
                    f"Biot number fitted in {f.stage}",
                    "Bi = h × R / k",
                    f.value * link.radius_m / link.conductivity_W_per_mK,
                    h=(f.value, "W/(m² K)"),
                    R=(link.radius_m, "m"),
                    k=(link.conductivity_W_per_mK, "W/(m K)"),
                )
                for f in fitted
                if f.what == H
            ),
        ),
    )


class _Model:
    """Log minus model over error, for any set of parameters; many parameter sets in one march."""

    def __init__(self, link, stages, times, probe, radius, losses, sd, loss_sd):
        self.link, self.stages, self.times, self.probe, self.losses = (
            link,
            stages,
            times,
            probe,
            losses,
        )
        self.radius, self.sd, self.loss_sd = radius, sd, loss_sd
        self.last = (
            max(
                [
                    int(np.searchsorted(np.cumsum([s.minutes for s in stages]), times[-1] - 1e-9)),
                    *losses,
                ]
            )
            if losses or len(times)
            else 0
        )

    def many(self, sets: np.ndarray, wanted) -> np.ndarray:
        """(sets, parameters) -> residuals (readings, sets)."""
        stages = list(self.stages[: self.last + 1])
        for column, (index, what) in enumerate(wanted):
            if index <= self.last:
                stages[index] = replace(
                    stages[index],
                    **{what: np.exp(sets[:, column]) if what == H else sets[:, column]},
                )
        width = np.full(len(sets), float(self.link.diameter_mm))
        run = march(
            replace(self.link, diameter_mm=width, length_mm=None), stages, places=(self.radius,)
        )
        when = run.seconds / 60
        traces = np.stack(
            [np.interp(self.times, when, run.probes_C[:, 0, i]) for i in range(len(sets))], axis=1
        )
        parts = [(traces - self.probe[:, None]) / self.sd]
        if self.losses:
            total = np.cumsum(self.link.pct_lost(run.evaporated_kg_per_m2), axis=0)
            parts.append(
                np.stack([(total[i] - lost) / self.loss_sd for i, lost in self.losses.items()])
            )
        return np.concatenate(parts)

    def residuals(self, x, wanted):
        return self.many(np.asarray(x, float)[None], wanted)[:, 0]

    def jacobian(self, x, wanted, doubtful):
        """Forward differences, inward at an upper bound, all in one march; and how surely each column was known before the log, as 1/sd²."""
        every = [*wanted, *doubtful]
        x = np.concatenate([x, [self.held(parameter) for parameter in doubtful]])
        high = np.array([_HIGH[what] for _, what in every])
        moves = np.where(x + 1e-4 > high, -1e-4, 1e-4)
        out = self.many(np.vstack([x, x + np.diag(moves)]), every)
        known = [0.0] * len(wanted) + [value(_DOUBT[what]) ** -2 for _, what in doubtful]
        return (out[:, 1:] - out[:, :1]) / moves, np.array(known)

    def held(self, parameter):
        index, what = parameter
        own = float(getattr(self.stages[index], what))
        return np.log(own) if what == H else own

    def solve(self, wanted):
        low, high = (np.array([table[what] for _, what in wanted]) for table in (_LOW, _HIGH))
        start = np.array([self.held(parameter) for parameter in wanted])
        return least_squares(
            self.residuals,
            np.clip(start, low + 1e-3, high - 1e-3),
            lambda x, w: self.jacobian(x, w, [])[0],
            (low, high),
            args=(wanted,),
            xtol=1e-9,
            ftol=1e-10,
            max_nfev=60,
        ).x


def _shown(what, number) -> str:
    return f"{number:.3g}" if what == H else f"{number:.2f}"


def _log(minutes, probe_C, stages):
    try:
        times, probe = np.asarray(minutes, float).ravel(), np.asarray(probe_C, float).ravel()
    except (TypeError, ValueError):
        raise OutOfRange("the log holds something that is no number; give minutes and °C") from None
    need(
        times.size == probe.size,
        f"the log has {times.size} times and {probe.size} temperatures; it needs one temperature for each time",
    )
    need(times.size > 0, "the log is empty; it needs at least 8 readings")
    need(
        times.size >= 8, f"the log has {times.size} readings; it needs at least 8 to tell anything"
    )
    need(
        bool(np.isfinite(times).all() and np.isfinite(probe).all()),
        "the log holds a gap (nan or infinity); leave those rows out",
    )
    need(
        bool(np.all(np.diff(times) > 0)),
        "the times of the log must increase; sort it and drop doubled stamps",
    )
    total = sum(stage.minutes for stage in stages)
    need(
        times[0] >= 0 and times[-1] <= total + 1e-6,
        f"the log runs from {times[0]:g} to {times[-1]:g} min, the schedule from 0 to {total:g} min; "
        "count minutes from the start of the first stage",
    )
    need(
        bool(np.all((probe > -40) & (probe < 150))),
        f"the log holds {probe[np.argmax(np.abs(probe - 55))]:g} °C; a link's core lies between -40 and 150 °C",
    )
    return times, probe


def _with_coefficients(link, stages) -> tuple[Stage, ...]:
    """Every stage with the number that its correlation gives, so that a fit has somewhere to start."""
    known, mean = [], float(link.start_C)
    for stage in stages:
        known.append(
            stage
            if stage.h_W_per_m2K is not None
            else replace(
                stage,
                h_W_per_m2K=float(
                    coefficient(stage, link.diameter_mm, (mean + stage.medium_C) / 2)
                ),
            )
        )
        mean = float(march(link, known, places=(0.0,)).mean_C[-1])
    return tuple(known)


def _asked(ask, stages, edges, times, losses):
    everything = (
        [
            (i, what)
            for i, stage in enumerate(stages)
            for what in (H, WETNESS)
            if what == H or (stage.vapour_Pa is not None)
        ]
        if ask is None
        else list(ask)
    )
    wanted, refused = [], []
    for index, what in everything:
        need(what in (H, WETNESS), f"{what!r} cannot be fitted; ask for {H!r} or {WETNESS!r}")
        need(
            0 <= index < len(stages),
            f"stage {index} does not exist; the schedule has stages 0 to {len(stages) - 1}",
        )
        stage = stages[index]
        inside = int(((times > edges[index]) & (times <= edges[index + 1] + 1e-9)).sum())
        if what == WETNESS and stage.vapour_Pa is None:
            refused.append(
                Refused(
                    stage.name,
                    what,
                    stage.wetness,
                    "no water leaves in a bath or a shower; there is no wetness to learn",
                )
            )
        elif inside < 3 and not (what == WETNESS and index in losses):
            refused.append(
                Refused(
                    stage.name,
                    what,
                    float(getattr(stage, what)),
                    f"the log has {inside} readings in this stage; it needs at least 3",
                )
            )
        else:
            wanted.append((index, what))
    return wanted, refused


def _scale(residual, parameters):
    """Residual spread over the stated error (never taken below 1), and how many readings are independent by their lag-1 correlation."""
    n = len(residual)
    spread = max(1.0, float(np.sqrt((residual**2).sum() / max(n - parameters, 1))))
    centred = residual - residual.mean()
    total = float((centred**2).sum())
    lag = float((centred[1:] * centred[:-1]).sum()) / total if total > 0 else 0.0
    lag = min(max(lag, 0.0), 0.98)
    return spread * np.sqrt((1 + lag) / (1 - lag)), max(n * (1 - lag) / (1 + lag), parameters + 2.0)


def _half_widths(jac, known, scale, independent, parameters):
    """95 % half widths from the curvature at the optimum, with the doubt about what is held.

    A direction that the log does not see comes out huge, not zero.
    """
    values, vectors = np.linalg.eigh(jac.T @ jac / scale**2 + np.diag(known))
    cov = (vectors @ np.diag(1 / np.maximum(values, 1e-12)) @ vectors.T)[:parameters, :parameters]
    return np.sqrt(np.diag(cov)) * student.ppf(0.975, max(independent - parameters, 2.0)), cov


def _at_edge(x, wanted):
    for place, (best, (_, what)) in enumerate(zip(x, wanted)):
        if what == H and not _LOW[H] + 1e-3 < best < _HIGH[H] - 1e-3:
            return place, (
                f"the best value runs to {np.exp(best):.0f} W/(m² K), the end of what air or water can do: "
                "does the log belong to this schedule?"
            )
    return None


def _why(worst, wanted, half, cov, stages, losses) -> str:
    index, what = wanted[worst]
    sd = np.sqrt(np.diag(cov))
    with_others = np.abs(cov[worst] / (sd[worst] * sd))
    with_others[worst] = 0
    size = (
        f"a factor of {np.exp(min(half[worst], 20)):.3g} either way"
        if what == H
        else f"± {half[worst]:.2g}"
    )
    text = f"the log leaves it open by {size}"
    if with_others.size > 1 and with_others.max() > 0.9:
        other, word = wanted[int(with_others.argmax())]
        text += f"; it cannot be told from the {_WORDS[word]} of {stages[other].name} (correlation {with_others.max():.2f})"
        if WETNESS in (what, word):
            text += (
                f": weigh the link after {stages[index].name}"
                if index not in losses
                else ": too little water leaves there for the weights to tell"
            )
    elif what == H:
        text += ": the core hardly feels it, because the inside or the plateau rules; log a surface probe or more often at the start of the stage"
    return text


def _notes(rms, sd, loss_off, loss_sd, fitted, link):
    said = list(link.notes)
    if rms > 3 * sd:
        said.append(
            f"the model misses the log by {rms:.1f} K on average, far more than the probe's {sd:g} K: "
            "air, diameter or depth differ from what was given"
        )
    if loss_off.size and np.abs(loss_off).max() > 3 * loss_sd:
        said.append(
            f"a weighed loss differs from the model by {np.abs(loss_off).max():.1f} points, more than its error"
        )
    if not fitted:
        said.append(
            "nothing could be learned from this log; the schedule is returned with the values it had"
        )
    said.append(
        "Intervals hold for this model and this link only; another place in the house has its own coefficient."
    )
    return (*said, CAUTION)
