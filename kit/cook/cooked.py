"""What did the link go through: temperatures by radius, targets reached, water lost, stage by stage?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kit.cook import explained, freezing
from kit.cook.link import Link
from kit.cook.march import RINGS, STEP_S, Run, march
from kit.cook.stages import Stage
from kit.cook.surface import settle
from kit.errors import need, need_between
from kit.faults import need_said
from kit.working import Result, notes_of

CAUTION = (
    "Computed from a schedule, not measured: it does not show that a product is safe or a process validated. "
    "Measure the coldest core with a checked thermometer and follow the local code or licensed practice."
)


@dataclass(frozen=True)
class StageOutcome:
    """One stage as the link met it."""

    name: str
    start_min: float
    end_min: float
    medium_C: float
    wet_bulb_C: float | None
    plateau_C: float
    """plateau: where surface and core would rest if the stage went on for ever and the skin stayed as wet as the fresh batter"""
    h_W_per_m2K: float
    """convection; radiation comes on top where the stage has it"""
    biot: float
    fourier: float
    core_end_C: float
    lost_pct: float
    """water that left the link, % of its start weight, after any condensed film has gone first"""
    skin_water_activity: float
    """water activity of the surface at the end of the stage"""


@dataclass(frozen=True)
class Target:
    """A core temperature asked for: when it is reached, or where the core levels off instead."""

    target_C: float
    minutes: float | None
    peak_C: float
    plateau_C: float
    hottest_stage: str
    skin_dries: bool = False
    """the plateau of that stage is one of drying, so it rises as the skin dries"""

    @property
    def reached(self) -> bool:
        return self.minutes is not None

    @property
    def words(self) -> str:
        never, enough = not self.reached, self.plateau_C > self.target_C
        holds = {"reached": self.reached, "longer": never and enough}
        holds["moister"] = never and not enough and self.skin_dries
        holds["hotter"] = never and not enough and not self.skin_dries
        return notes_of("core target", holds, one=self)[0]


@dataclass(frozen=True)
class Cooked(Result):
    """One link through one schedule. Arrays run along `minutes`; rings run from the axis to the skin."""

    link: Link
    schedule: tuple[Stage, ...]
    minutes: np.ndarray
    core_C: np.ndarray
    surface_C: np.ndarray
    mean_C: np.ndarray
    lost_pct_by_time: np.ndarray
    """net water out through the skin, % of start weight; below 0 while vapour condenses"""
    heat_kJ_per_kg: np.ndarray
    """taken up through the skin since the start; the energy balance closes with mean_C where nothing freezes"""
    stages: tuple[StageOutcome, ...]
    targets: tuple[Target, ...]
    lost_pct: float

    @property
    def peak_core_C(self) -> float:
        return float(self.core_C.max())

    def core_at(self, minutes) -> np.ndarray:
        """The core at the times asked for, straight between steps: for a chart or beside a log."""
        asked, last = np.asarray(minutes), self.minutes[-1]
        need_said(bool(np.all((asked >= 0) & (asked <= last + 1e-9))), "times of a cook", last=last)
        return np.interp(asked, self.minutes, self.core_C)


def cook(
    link: Link,
    schedule: Sequence[Stage],
    targets_C: Sequence[float] = (70.0,),
    *,
    step_s: float = STEP_S,
    released_pct: float = 0.0,
) -> Cooked:
    """Take one link through a schedule.

    link: one Link, of floats
    schedule: Stages, in order
    targets_C: core temperatures asked for, -30 to 120 °C
    step_s: longest step in time, 0.1 to 120 s
    released_pct: water that the gel releases while it heats, % of the start weight, 0 to 100; it wets the skin
    Returns Cooked: °C by depth and time, come-up times, water lost in % by stage.
    Raises OutOfRange for an empty schedule, for arrays and for impossible numbers.
    Valid for a long link of constant diameter and properties, up to 150 °C at the surface. Below the
    freezing point the heat of the ice is counted, from the link's `batter`.
    Source: conduction in a cylinder with evaporation at the skin; data/reference/cook.csv.
    """
    schedule = checked(schedule)
    need(0.1 <= step_s <= 120, f"step is {step_s:g} s; it must lie between 0.1 and 120 s")
    need_said(all(np.ndim(part) == 0 for part in vars(link).values()), "one link")
    aims = tuple(need_between("core target", target, -30, 120) for target in targets_C)
    released = need_between("released water in percent of the start weight", released_pct, 0, 100)
    places = np.linspace(0, 1, RINGS + 1)
    run = march(link, schedule, places=places, step_s=step_s, released_pct=released)
    run = freezing.with_ice(link, schedule, run)
    minutes, trace = run.seconds / 60, run.probes_C
    core, surface = trace[:, 0], trace[:, -1]
    outcomes = tuple(_outcome(link, stage, run, i) for i, stage in enumerate(schedule))
    per_m2 = link.kg_per_m / (2 * np.pi * link.radius_m)
    done = Cooked(
        link=link,
        schedule=schedule,
        minutes=minutes,
        core_C=core,
        surface_C=surface,
        mean_C=run.mean_C,
        lost_pct_by_time=link.pct_lost(run.water_kg_per_m2),
        heat_kJ_per_kg=run.heat_J_per_m2 / per_m2 / 1000,
        stages=outcomes,
        targets=_targets(aims, minutes, core, outcomes),
        lost_pct=sum(outcome.lost_pct for outcome in outcomes),
    )
    return replace(
        done,
        own_notes=(*explained.notes_of(done), CAUTION),
        own_sources=explained.sources_of(done),
        own_working=explained.working_of(done, run),
    )


def _targets(aims, minutes, core, outcomes) -> tuple[Target, ...]:
    hot = max(outcomes, key=lambda outcome: outcome.plateau_C)
    dries = hot.wet_bulb_C is not None and hot.medium_C - hot.plateau_C > 0.5
    found = []
    for aim in aims:
        reached = float(first_reached(minutes, core[:, None], aim)[0])
        at = reached if np.isfinite(reached) else None
        peak = float(core.max())
        found.append(Target(aim, at, peak, hot.plateau_C, hot.name, bool(dries)))
    return tuple(found)


def checked(schedule) -> tuple[Stage, ...]:
    """A schedule whose stages all have names of their own. OutOfRange for an empty one, and for other things than stages."""
    schedule = (schedule,) if isinstance(schedule, Stage) else tuple(schedule)
    need(bool(schedule), "the schedule is empty; give at least one stage")
    named: list[Stage] = []
    for index, stage in enumerate(schedule, 1):
        need_said(isinstance(stage, Stage), "entry no stage", index=index, stage=stage)
        before = sum(one.name == stage.name for one in schedule[: index - 1])
        named.append(replace(stage, name=f"{stage.name} ({before + 1})") if before else stage)
    return tuple(named)


def first_reached(minutes, traces, target):
    """First time each column comes up to target, straight between rows; inf if never."""
    above = traces >= target
    row = above.argmax(axis=0)
    before, columns = np.maximum(row - 1, 0), np.arange(traces.shape[1])
    low, high = traces[before, columns], traces[row, columns]
    share = np.where(high > low, (target - low) / np.where(high > low, high - low, 1.0), 0.0)
    reached = minutes[before] + share * (minutes[row] - minutes[before])
    return np.where(above.any(axis=0), reached, np.inf)


def _outcome(link, stage: Stage, run: Run, index: int) -> StageOutcome:
    first, last = run.first_rows[index], run.first_rows[index + 1]
    law, probes = run.exchanges[index], run.probes_C
    plateau = settle(law, law.medium_C, close=1e-6)[0]
    return StageOutcome(
        name=stage.name,
        start_min=float(run.seconds[first] / 60),
        end_min=float(run.seconds[last] / 60),
        medium_C=law.medium_C,
        wet_bulb_C=stage.wet_bulb_C,
        plateau_C=float(plateau),
        h_W_per_m2K=law.h,
        biot=float(law.h * link.radius_m / link.conductivity_W_per_mK),
        fourier=float(link.diffusivity_m2_per_s * stage.seconds / link.radius_m**2),
        core_end_C=float(probes[last, 0]),
        lost_pct=float(link.pct_lost(run.evaporated_kg_per_m2[index])),
        skin_water_activity=float(run.skin_activity[index]),
    )
