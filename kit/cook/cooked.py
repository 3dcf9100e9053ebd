"""What did the link go through: temperatures by radius, targets reached, water lost, stage by stage?"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from kit.cook import freezing, series
from kit.cook.link import Link
from kit.cook.march import RINGS, STEP_S, Exchange, Run, march, settle
from kit.cook.moist_air import KELVIN, PRESSURE_PA, saturation_pressure_Pa
from kit.cook.stages import Stage
from kit.errors import OutOfRange, need, need_between
from kit.tables import number, value
from kit.working import Step, step

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
    holds_C: float
    """plateau: where surface and core would rest if the stage went on for ever and the skin stayed as wet as the fresh batter"""
    h_W_per_m2K: float
    """convection; radiation comes on top where the stage has it"""
    biot: float
    fourier: float
    core_end_C: float
    surface_end_C: float
    hottest_surface_C: float
    lost_pct: float
    """water that left the link, % of its start weight, after any condensed film has gone first"""
    net_pct: float
    """the same with condensate counted as weight gained: as if nothing dripped"""
    skin_water_activity: float
    """water activity of the surface at the end of the stage"""

    @property
    def plateau(self) -> str:
        """Why the temperature stops where it stops, in one sentence."""
        if self.wet_bulb_C is None:
            return f"In {self.name} at {self.medium_C:.1f} °C nothing evaporates, so the link comes to the temperature of the bath."
        if self.medium_C - self.holds_C < 0.5:
            return f"In {self.name} hardly any water leaves, so the link comes near the air's {self.medium_C:.1f} °C."
        return (
            f"In {self.name} the air is {self.medium_C:.1f} °C, but drying takes up the heat: with a wet skin the link would stop at {self.holds_C:.1f} °C "
            f"(wet bulb {self.wet_bulb_C:.1f} °C). At the end of the stage the water activity of the skin is {self.skin_water_activity:.2f}."
        )


@dataclass(frozen=True)
class Target:
    """A core temperature asked for: when it is reached, or where the core levels off instead."""

    target_C: float
    minutes: float | None
    peak_C: float
    holds_C: float
    hottest_stage: str
    skin_dries: bool = False
    """the plateau of that stage is one of drying, so it rises as the skin dries"""

    @property
    def reached(self) -> bool:
        return self.minutes is not None

    @property
    def words(self) -> str:
        if self.reached:
            return f"The core reaches {self.target_C:g} °C after {self.minutes:.1f} min."
        more = (
            f"{self.hottest_stage!r} holds it at {self.holds_C:.1f} °C as long as the skin is wet: raise its humidity or its dry bulb"
            if self.holds_C <= self.target_C and self.skin_dries
            else f"no time would be enough, for {self.hottest_stage!r} holds it at {self.holds_C:.1f} °C: raise its temperature"
            if self.holds_C <= self.target_C
            else f"{self.hottest_stage!r} would bring it to {self.holds_C:.1f} °C in time: make it longer"
        )
        return f"The core never reaches {self.target_C:g} °C; it peaks at {self.peak_C:.1f} °C, and {more}."


@dataclass(frozen=True)
class Cooked:
    """One link through one schedule. Arrays run along `minutes`; rings run from the axis to the skin."""

    link: Link
    schedule: tuple[Stage, ...]
    minutes: np.ndarray
    core_C: np.ndarray
    mid_C: np.ndarray
    """halfway between axis and skin"""
    surface_C: np.ndarray
    mean_C: np.ndarray
    rings_C: np.ndarray
    """(times, radii)"""
    radius_mm: np.ndarray
    lost_pct_by_time: np.ndarray
    """net water out through the skin, % of start weight; below 0 while vapour condenses"""
    heat_kJ_per_kg: np.ndarray
    """taken up through the skin since the start; the energy balance closes with mean_C where nothing freezes"""
    stages: tuple[StageOutcome, ...]
    targets: tuple[Target, ...]
    lost_pct: float
    hottest_surface_C: float
    hottest_surface_min: float
    ends_ahead_K: float | None
    """by how much the two ends bring the middle's core ahead of this long-link answer, at most; None without a length"""
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...] = field(repr=False)

    @property
    def peak_core_C(self) -> float:
        return float(self.core_C.max())

    def at(self, minutes) -> dict[str, np.ndarray]:
        """Core, mid and surface at the times asked for, straight between steps: for a chart or beside a log."""
        need(
            bool(
                np.all(
                    (np.asarray(minutes) >= 0) & (np.asarray(minutes) <= self.minutes[-1] + 1e-9)
                )
            ),
            f"times must lie between 0 and {self.minutes[-1]:g} min, the length of the schedule",
        )
        return {
            key: np.interp(minutes, self.minutes, getattr(self, f"{key}_C"))
            for key in ("core", "mid", "surface", "mean")
        }

    def minutes_above(self, temperature_C: float, where: str = "surface") -> float:
        """How long `where` (core, mid, surface) spends above a temperature, interpolated."""
        trace = getattr(self, f"{where}_C") - temperature_C
        a, b, dt = trace[:-1], trace[1:], np.diff(self.minutes)
        span = np.where(a == b, 1.0, b - a)
        share = np.where(
            (a > 0) & (b > 0),
            1.0,
            np.where((a > 0) | (b > 0), np.maximum(a, b) / np.abs(span), 0.0),
        )
        return float((share * dt).sum())


@dataclass(frozen=True)
class CookedMany:
    """Many links at once: (times, links)."""

    minutes: np.ndarray
    core_C: np.ndarray
    surface_C: np.ndarray
    mean_C: np.ndarray
    lost_pct: np.ndarray
    targets_C: tuple[float, ...]
    reached_min: np.ndarray
    """(targets, links); inf where the schedule never gets there"""


def cook(
    link: Link,
    schedule: Sequence[Stage],
    targets_C: Sequence[float] = (70.0,),
    *,
    rings: int = RINGS,
    step_s: float = STEP_S,
    released_pct: float = 0.0,
) -> Cooked:
    """Take one link through the schedule. `released_pct`: water that the gel lets go while it heats, % of the start weight; it wets the skin.

    Valid for a long link of constant diameter and properties, up to 150 °C at the surface; the diameter is not shrunk by the loss. Below the freezing
    point the heat of the ice is counted, from the link's `batter`.
    Raises OutOfRange for an empty schedule, for arrays (use cook_many) and for impossible numbers.
    """
    schedule = _checked(schedule, rings, step_s)
    need(
        all(np.ndim(part) == 0 for part in vars(link).values()),
        "cook takes one link; use cook_many for several",
    )
    aims = tuple(need_between("core target", target, -30, 120) for target in targets_C)
    run = march(
        link,
        schedule,
        places=np.linspace(0, 1, rings + 1),
        rings=rings,
        step_s=step_s,
        released_pct=need_between(
            "released water in percent of the start weight", released_pct, 0, 100
        ),
    )
    run = freezing.with_ice(link, schedule, run, rings)
    minutes, trace = run.seconds / 60, run.probes_C
    core, surface = trace[:, 0], trace[:, -1]
    outcomes = tuple(
        _outcome(link, stage, law, run, i)
        for i, (stage, law) in enumerate(zip(schedule, run.exchanges))
    )
    hot = max(outcomes, key=lambda o: o.holds_C)
    reached = [_first(minutes, core[:, None], aim)[0] for aim in aims]
    targets = tuple(
        Target(
            aim,
            float(t) if np.isfinite(t) else None,
            float(core.max()),
            hot.holds_C,
            hot.name,
            bool(hot.wet_bulb_C is not None and hot.medium_C - hot.holds_C > 0.5),
        )
        for aim, t in zip(aims, reached)
    )
    lost, ends = sum(o.lost_pct for o in outcomes), _ends_ahead(link, outcomes, run)
    per_kg = link.kg_per_m / (2 * np.pi * link.radius_m)
    return Cooked(
        link,
        schedule,
        minutes,
        core,
        (trace[:, rings // 2] + trace[:, (rings + 1) // 2]) / 2,
        surface,
        run.mean_C,
        trace,
        np.linspace(0, link.diameter_mm / 2, rings + 1),
        link.pct_lost(run.water_kg_per_m2),
        run.heat_J_per_m2 / per_kg / 1000,
        outcomes,
        targets,
        lost,
        float(surface.max()),
        float(minutes[surface.argmax()]),
        ends,
        _notes(link, schedule, outcomes, targets, lost, ends, minutes, core, surface),
        _sources(link, schedule, freezing.freezes_at(surface) is not None),
        _working(link, outcomes, run, surface),
    )


def cook_many(
    links: Link,
    schedule: Sequence[Stage],
    targets_C: Sequence[float] = (70.0,),
    *,
    rings: int = RINGS,
    step_s: float = STEP_S,
    rng=None,
) -> CookedMany:
    """Many links at once: give a Link whose fields are arrays, or stages whose medium, h or wetness are."""
    schedule = _checked(schedule, rings, step_s)
    run = march(links, schedule, places=(0.0, 1.0), rings=rings, step_s=step_s, rng=rng)
    need(run.probes_C.ndim == 3, "cook_many needs several links; use cook for one")
    need(
        freezing.freezes_at(run.probes_C[:, 1].min(axis=1)) is None,
        f"a surface comes to {run.probes_C[:, 1].min():.1f} °C, below the freezing point of "
        f"{value('freezing_C_meat'):g} °C, where many links at once are not followed: take a warmer or shorter chill, or cook one link at a time",
    )
    minutes, core = run.seconds / 60, run.probes_C[:, 0]
    reached = np.stack(
        [_first(minutes, core, need_between("core target", aim, -30, 120)) for aim in targets_C]
    )
    return CookedMany(
        minutes,
        core,
        run.probes_C[:, 1],
        run.mean_C,
        links.pct_lost(run.evaporated_kg_per_m2.sum(axis=0)),
        tuple(map(float, targets_C)),
        reached,
    )


def _checked(schedule, rings, step_s) -> tuple[Stage, ...]:
    schedule = (schedule,) if isinstance(schedule, Stage) else tuple(schedule)
    need(bool(schedule), "the schedule is empty; give at least one stage")
    need(4 <= rings <= 400, f"rings is {rings}; it must lie between 4 and 400")
    need(0.1 <= step_s <= 120, f"step is {step_s:g} s; it must lie between 0.1 and 120 s")
    for index, stage in enumerate(schedule, 1):
        if not isinstance(stage, Stage):
            raise OutOfRange(
                f"entry {index} of the schedule is {stage!r}, not a stage; make one with air(...), hot_water(...) and so on"
            )
    names = [stage.name for stage in schedule]
    return tuple(
        stage
        if names[:i].count(stage.name) == 0
        else replace(stage, name=f"{stage.name} ({names[:i].count(stage.name) + 1})")
        for i, stage in enumerate(schedule)
    )


def _first(minutes, traces, target):
    """First time each column comes up to target, straight between rows; inf if never."""
    above = traces >= target
    row = above.argmax(axis=0)
    before, columns = np.maximum(row - 1, 0), np.arange(traces.shape[1])
    low, high = traces[before, columns], traces[row, columns]
    share = np.where(high > low, (target - low) / np.where(high > low, high - low, 1.0), 0.0)
    return np.where(
        above.any(axis=0),
        np.where(row == 0, minutes[0], minutes[before] + share * (minutes[row] - minutes[before])),
        np.inf,
    )


def _outcome(link, stage: Stage, law: Exchange, run: Run, index: int) -> StageOutcome:
    first, last = run.first_rows[index], run.first_rows[index + 1]
    rests = float(
        settle(
            law,
            law.medium_C,
            evaporates=bool(law.transfer),
            radiates=bool(law.emission),
            close=1e-6,
        )[0]
    )
    return StageOutcome(
        stage.name,
        float(run.seconds[first] / 60),
        float(run.seconds[last] / 60),
        law.medium_C,
        stage.wet_bulb_C,
        rests,
        law.h,
        float(law.h * link.radius_m / link.conductivity_W_per_mK),
        float(link.diffusivity_m2_per_s * stage.seconds / link.radius_m**2),
        float(run.probes_C[last, 0]),
        float(run.probes_C[last, -1]),
        float(run.probes_C[first : last + 1, -1].max()),
        float(link.pct_lost(run.evaporated_kg_per_m2[index])),
        float(link.pct_lost(run.water_kg_per_m2[last] - run.water_kg_per_m2[first])),
        float(run.skin_activity[index]),
    )


def end_effect(link: Link, h_W_per_m2K: float, minutes: float) -> float:
    """Per cent that two flat ends take off the middle's remaining temperature difference in a steady medium (product rule)."""
    need(link.length_mm is not None, "the link has no length; give length_mm")
    half = link.length_mm / 2000
    fourier, biot = (
        link.diffusivity_m2_per_s * 60 * minutes / half**2,
        h_W_per_m2K * half / link.conductivity_W_per_mK,
    )
    return float(100 * (1 - series.slab_theta(fourier, biot)))


def _ends_ahead(link, outcomes, run: Run) -> float | None:
    """Product rule for each change of surroundings since the start, added up; taken at its largest while the core warms."""
    if link.length_mm is None:
        return None
    peak = int(run.probes_C[:, 0].argmax())
    warm = [(o, first) for o, first in zip(outcomes, run.first_rows) if first < peak]
    if not warm:
        return 0.0
    spans = [o.end_min - o.start_min for o, _ in warm]
    biot = float(np.average([o.biot for o, _ in warm], weights=spans))
    slender, ahead, before = link.length_mm / link.diameter_mm, np.zeros(peak + 1), link.start_C
    for outcome, first in warm:
        fourier = (
            link.diffusivity_m2_per_s
            * (run.seconds[first : peak + 1] - run.seconds[first])
            / link.radius_m**2
        )
        ahead[first:] += (outcome.holds_C - before) * (
            series.cylinder_theta(fourier, biot) - series.short_theta(fourier, biot, slender)
        )
        before = outcome.holds_C
    return float(ahead.max())


def _notes(
    link, schedule, outcomes, targets, lost, ends, minutes, core, surface
) -> tuple[str, ...]:
    said = list(link.notes)
    said += [
        f"the air of {stage.name} has {stage.humidity_pct:.2g} % humidity, drier than heated winter air: was a fraction meant? Give percent, 0 to 100"
        for stage in schedule
        if stage.vapour_Pa and np.mean(stage.medium_C) < 90 and stage.humidity_pct <= 1
    ]
    said += [target.words for target in targets if not target.reached]
    said += [
        f"In {o.name} the core ended at {o.core_end_C:.1f} °C, within 1 K of the {o.holds_C:.1f} °C where drying holds it: "
        f"it has stalled near the wet bulb ({o.wet_bulb_C:.1f} °C)."
        for o in outcomes
        if o.wet_bulb_C is not None
        and o.medium_C - o.holds_C > 3
        and 0 <= o.holds_C - o.core_end_C < 1
    ]
    said += [
        f"In {o.name} the skin dried to a water activity of {o.skin_water_activity:.2f}, so the core passed the {o.holds_C:.1f} °C of a wet skin by "
        f"{o.core_end_C - o.holds_C:.1f} K. How fast a skin dries is known to a factor of two either way."
        for o in outcomes
        if o.wet_bulb_C is not None
        and o.medium_C - o.holds_C > 3
        and o.core_end_C - o.holds_C >= 0.5
    ]
    if lost > 20:
        said.append(
            f"{lost:.0f} % of the weight left as water; the method keeps diameter and properties, "
            "so past 20 % the true course drifts from it"
        )
    if surface.max() > 98:
        said.append(
            f"the surface came to {surface.max():.0f} °C; near boiling, vapour forms below the skin, which this method does not follow"
        )
    melts = number("cook_fat_melt_C")
    if surface.max() > melts.value:
        row = int((surface > melts.value).argmax())
        said.append(
            f"the skin passed {melts.value:g} °C, where most pork fat is liquid ({melts.status_in_words}), after {minutes[row]:.0f} min; "
            f"the core was {core[row]:.0f} °C then"
        )
    if (row := freezing.freezes_at(surface)) is not None:
        said.append(
            f"the surface freezes (below {value('freezing_C_meat'):g} °C) after {minutes[row]:.0f} min: from that stage on the heat of the ice is counted; salt lowers "
            f"the freezing point further, which is left out. It ends at {surface[-1]:.1f} °C, the core at {core[-1]:.1f} °C"
        )
    if ends is not None and ends > 0.5:
        said.append(
            f"heat through the ends brings the middle of so short a link up to {ends:.1f} K ahead of this long-link answer; "
            "its ends are ahead by more"
        )
    said.append(
        "Weight lost is evaporation only, good to 2 or 3 points without a fit to your own weights."
    )
    return (*said, CAUTION)


def _sources(link, schedule, froze: bool) -> tuple[str, ...]:
    rows = (
        (
            "cook_psat_water_0",
            "cook_latent",
            "cook_film_cap",
            "cook_sorption_exponent",
            "cook_release_from_C",
        )
        if any(stage.vapour_Pa is not None for stage in schedule)
        else ()
    )
    of_stages = (source for stage in schedule for source in stage.sources)
    rows += freezing.ROWS if froze else ()
    return tuple(dict.fromkeys((*link.sources, *of_stages, *(number(row).cite() for row in rows))))


def _working(link, outcomes, run, surface) -> tuple[Step, ...]:
    k, rho, c, R = (
        link.conductivity_W_per_mK,
        link.density_kg_per_m3,
        link.heat_capacity_J_per_kgK,
        link.radius_m,
    )
    diffusivity = link.diffusivity_m2_per_s
    steps = [
        step(
            "Thermal diffusivity of the batter",
            "a = k / (rho × c)",
            diffusivity,
            "m²/s",
            k=(k, "W/(m K)"),
            rho=(rho, "kg/m³"),
            c=(c, "J/(kg K)"),
        )
    ]
    for outcome in outcomes:
        seconds = 60 * (outcome.end_min - outcome.start_min)
        steps.append(
            step(
                f"Biot number in {outcome.name}: inside resistance over outside",
                "Bi = h × R / k",
                outcome.biot,
                h=(outcome.h_W_per_m2K, "W/(m² K)"),
                R=(R, "m"),
                k=(k, "W/(m K)"),
            )
        )
        steps.append(
            step(
                f"Fourier number of {outcome.name}: its length in the link's own time",
                "Fo = a × t / R^2",
                outcome.fourier,
                a=(diffusivity, "m²/s"),
                t=(seconds, "s"),
                R=(R, "m"),
            )
        )
    for index, (outcome, law) in enumerate(zip(outcomes, run.exchanges)):
        if law.transfer and law.medium_C - outcome.holds_C > 0.5:
            steps += _balance(outcome, law, link)
    for index, outcome in enumerate(outcomes):
        water = float(run.evaporated_kg_per_m2[index])
        if water > 0:
            steps.append(
                step(
                    f"Weight lost in {outcome.name}: skin area times water per area, over the weight",
                    "loss = 100 × 4 × M / (rho × D)",
                    outcome.lost_pct,
                    "%",
                    M=(water, "kg/m²"),
                    rho=(rho, "kg/m³"),
                    D=(2 * R, "m"),
                )
            )
    if freezing.freezes_at(surface) is not None:
        return tuple(steps)  # with ice, the heat is no longer that of a mean temperature
    steps.append(
        step(
            "Heat taken up: what the mean temperature rose by",
            "q = c × (Tend − Tstart) / 1000",
            c * (run.mean_C[-1] - link.start_C) / 1000,
            "kJ/kg",
            c=(c, "J/(kg K)"),
            Tend=(run.mean_C[-1], "°C"),
            Tstart=(link.start_C, "°C"),
        )
    )
    return tuple(steps)


def _balance(outcome, law: Exchange, link) -> list[Step]:
    """The plateau: heat in from the air equals heat out with the vapour."""
    s = outcome.holds_C
    pressure, air_pressure = (
        float(saturation_pressure_Pa(s)),
        PRESSURE_PA - float(np.exp(law.air_log)),
    )
    surface_pressure = link.water_activity * pressure
    if PRESSURE_PA - surface_pressure <= value("cook_inert_floor") * PRESSURE_PA:
        return []
    m = law.transfer * float(
        np.log((PRESSURE_PA - air_pressure) / (PRESSURE_PA - surface_pressure))
    )
    latent = 1000 * (value("cook_latent") - value("cook_latent_fall") * s)
    steps = [
        step(
            f"Plateau of {outcome.name}: vapour leaving the skin",
            "m = K × ln((P − pa) / (P − aw × ps))",
            m,
            "kg/(m² s)",
            K=(law.transfer, "kg/(m² s)", "wetness × h × M / (molar heat × Le^(2/3))"),
            P=(PRESSURE_PA, "Pa"),
            pa=(air_pressure, "Pa"),
            aw=(link.water_activity,),
            ps=(pressure, "Pa"),
        )
    ]
    if law.emission:
        return [
            *steps,
            step(
                f"Plateau of {outcome.name}: heat from air and walls less heat gone with the vapour",
                "q = h × (Ta − Ts) + es × (Tw4 − Tk^4) − L × m",
                law.h * (law.medium_C - s)
                + law.emission * (law.wall4 - (s + KELVIN) ** 4)
                - latent * m,
                "W/m²",
                h=(law.h, "W/(m² K)"),
                Ta=(law.medium_C, "°C"),
                Ts=(s, "°C"),
                es=(law.emission, "W/(m² K⁴)"),
                Tw4=(law.wall4, "K⁴"),
                Tk=(s + KELVIN, "K"),
                L=(latent, "J/kg"),
                m=(m, "kg/(m² s)"),
            ),
        ]
    return [
        *steps,
        step(
            f"Plateau of {outcome.name}: the air less what drying takes",
            "Ts = Ta − L × m / h",
            law.medium_C - latent * m / law.h,
            "°C",
            Ta=(law.medium_C, "°C"),
            L=(latent, "J/kg"),
            m=(m, "kg/(m² s)"),
            h=(law.h, "W/(m² K)"),
        ),
    ]
