"""Which machines does the batch go through, and how warm is it after each? What if it is split, or chopped in stages?

Grinder passes work on the meat alone, before anything else is in; the main machine and the passes through an emulsifier (a
fine mill) work on the whole batter. Each machine is a range of heat, so each stop has a low, a usual and a high temperature.
"""

from dataclasses import dataclass, replace
from math import ceil
from typing import NamedTuple

import numpy as np

from kit.chop.bowl import Bowl
from kit.chop.charge import LIKE_MEAT
from kit.chop.inverse import IceAnswer, energy_to_reach, ice_for
from kit.chop.machines import Guide, Machine, energy_from_power, machine
from kit.chop.path import Surroundings, end_after_C, path_by_time
from kit.chop.result import Chopped, chop
from kit.errors import OutOfRange, need, need_between
from kit.working import Result, step

MAIN = ("bowl cutter", "food processor", "paddle mixer", "kneader")
MOST_PASSES = 6
RANGE = ("low_kJ_per_kg", "usual_kJ_per_kg", "high_kJ_per_kg")
SAME_HEAT, SAME_MINUTES = "the same heat per kg", "the same minutes"


class Stop(NamedTuple):
    """The batter (or the meat alone) after one step, at the low, usual and high end of the machines so far."""

    name: str
    low_C: float
    usual_C: float
    high_C: float


@dataclass(frozen=True)
class ProcessingLine(Result):
    """`machine` holds the sum of all ranges per kg of batter; `gained_kJ_per_kg` what the room gave at the usual heat; room and
    the bowl's steel together end it `warmed_K` warmer than without them.

    `ice` is None where a note says why no share of ice ends at `planned_C`.
    """

    stops: tuple[Stop, ...]
    machine: Machine
    gained_kJ_per_kg: float
    warmed_K: float
    guide: Guide
    planned_C: float
    chopped: Chopped
    ice: IceAnswer | None

    @property
    def end(self) -> Stop:
        return self.stops[-1]


class Portion(NamedTuple):
    """One part of a split batch."""

    waits_min: float
    start_C: float
    end_C: float
    energy_kJ_per_kg: float


class Stages(NamedTuple):
    """A chop broken off and chilled back between its stages."""

    number: int
    first_kJ_per_kg: float
    each_kJ_per_kg: float


@dataclass(frozen=True)
class Split(Result):
    """One batch whole, in equal parts one after the other, and in stages with a chill between. `stages` is None where a note says why."""

    whole_end_C: float
    portions: tuple[Portion, ...]
    minutes_each: float
    power_kW: float
    stages: Stages | None


def ice_or_why(
    bowl: Bowl, planned_C: float, energy: float
) -> tuple[IceAnswer | None, tuple[str, ...]]:
    """The share of ice that ends at `planned_C`, or a note why none does."""
    try:
        return ice_for(bowl, planned_C, energy), ()
    except OutOfRange as error:
        return None, (f"Ice for {planned_C:g} °C: {error}.",)


def through_line(
    bowl: Bowl,
    guide: Guide,
    planned_C: float,
    main: str = "bowl cutter",
    grinder_passes: int = 0,
    mill_passes: int = 0,
    *,
    minutes: float = 8.0,
    surroundings: Surroundings | None = None,
) -> ProcessingLine:
    """A bowl through grinder, main machine and mill, stop by stop.

    planned_C: the end that is wanted, °C. main: one of MAIN. grinder_passes, mill_passes: 0 to MOST_PASSES. minutes: in the
    main machine, 0.1 to 600, while `surroundings` and the bowl's own steel warm or cool it.
    Raises OutOfRange without meat or where the bowl would boil, UnknownName for a machine.
    """
    grinds = int(need_between("grinder passes", grinder_passes, 0, MOST_PASSES))
    mills = int(need_between("emulsifier passes", mill_passes, 0, MOST_PASSES))
    time_min = need_between("minutes in the main machine", minutes, 0.1, 600)
    meats = bowl.of_kind(*LIKE_MEAT)
    need(bool(meats), "there is no meat in the bowl to be ground")
    meat, kg = Bowl(meats), float(bowl.kg)
    grinder, first, mill = (machine(name) for name in ("grinder", main, "emulsifier"))
    per_pass, in_main, through_mill = (
        np.array([getattr(each, end) for end in RANGE]) for each in (grinder, first, mill)
    )
    ground = grinds * per_pass * float(meat.kg) / kg
    total = ground + in_main + mills * through_mill

    stops = [_stop("meat as it goes in", np.full(3, meat.end_C(0.0)))]
    for n in range(1, grinds + 1):
        stops.append(_stop(f"meat, grinder pass {n}", meat.end_C(n * per_pass)))
    stops.append(_stop("all in the bowl, mixed", bowl.end_C(ground)))
    at = np.asarray(end_after_C(bowl, (ground + in_main) / time_min, time_min, surroundings))
    stops.append(_stop(main, at))
    heat = bowl.enthalpy_kJ(at)
    for n in range(1, mills + 1):
        after = bowl.temperature_C(heat + n * kg * through_mill)
        stops.append(_stop(f"emulsifier, pass {n}", after))

    usual = float(total[1])
    gained = float(heat[1] - bowl.heat_in_kJ - kg * (ground + in_main)[1])
    used = [m for m, times in ((grinder, grinds), (first, 1), (mill, mills)) if times]
    ice, why = ice_or_why(bowl, planned_C, usual + gained / kg)
    energy_sum = step(
        "heat of the machines per kg of batter, usual",
        "e = p × g × m / M + c + n × d",
        usual,
        "kJ/kg",
        p=(grinds, "", "grinder passes"),
        g=(grinder.usual_kJ_per_kg, "kJ/kg", "of meat, each pass"),
        m=(float(meat.kg), "kg", "meat"),
        M=(kg, "kg", "batter"),
        c=(first.usual_kJ_per_kg, "kJ/kg", main),
        n=(mills, "", "emulsifier passes"),
        d=(mill.usual_kJ_per_kg, "kJ/kg", "each pass"),
    )
    notes = [
        "Each machine's range stands for itself: low is low in all of them, high is high in all.",
        "The grinder works on the meat alone, before anything else is in.",
        *(f"{m.name.capitalize()}: {m.note}." for m in used if m.note),
        *why,
    ]
    if surroundings is None and not bowl.steel_kg:
        notes.append("No heat from bowl and room is counted.")
    return ProcessingLine(
        tuple(stops),
        _summed(
            total, used, (*_passes("grinder", grinds), f"the {main}", *_passes("emulsifier", mills))
        ),
        gained / kg,
        float(stops[-1].usual_C - replace(bowl, steel_kg=0.0).end_C(usual)),
        guide,
        planned_C,
        chop(bowl, usual, gained),
        ice,
        own_notes=tuple(notes),
        own_sources=(guide.cite, *(m.cite for m in used)),
        own_working=(energy_sum,),
    )


def split_batch(
    bowl: Bowl,
    energy_kJ_per_kg: float,
    minutes: float,
    parts: int,
    each: str = SAME_HEAT,
    surroundings: Surroundings | None = None,
    limit_C: float = 15.0,
    back_to_C: float = 4.0,
) -> Split:
    """A batch chopped in equal parts on a motor of the same power, and in stages.

    energy_kJ_per_kg: what the whole batch gets in `minutes` (0.1 to 600); the power follows. parts: 1 to 100. each: SAME_HEAT
    or SAME_MINUTES for every part; the same minutes on less batter are more energy per kg. surroundings: warm the parts that
    wait. limit_C: not passed by chopping in stages, chilled back to back_to_C between them.
    """
    energy = need_between("energy in kJ per kg of batter", energy_kJ_per_kg, 0, 1000)
    time_min = need_between("minutes for the whole batch", minutes, 0.1, 600)
    count, kg = int(need_between("parts", parts, 1, 100)), float(bowl.kg)
    power = energy * kg / (60 * time_min)
    minutes_each = time_min / count if each == SAME_HEAT else time_min
    one = bowl.with_charges(replace(c, kg=c.kg / count, minute=0.0) for c in bowl.charges)
    given = energy_from_power(power, minutes_each, float(one.kg))
    waits = minutes_each * np.arange(count)
    gained = 0.0 * waits
    if surroundings and count > 1:
        gained = path_by_time(one, 0.0, waits, surroundings).gained_kJ
    heat = one.heat_in_kJ + gained
    starts, ends = one.temperature_C(heat), one.temperature_C(heat + one.kg * given)
    notes = ["A bowl too full or too empty chops differently, which no balance shows."]
    if surroundings is None and count > 1:
        notes.append("Parts that wait are taken as kept cold.")
    stages = None
    try:
        stages = in_stages(bowl, energy, limit_C, back_to_C)
        notes.append(
            "Time above the limit counts as well as the peak: chill the batter spread thin and covered, and keep it within local rules."
        )
    except OutOfRange as error:
        notes.append(f"In stages: {error}.")
    working = (
        step(
            "power into the batter, the whole batch in the bowl",
            "P = e × M / (60 × t)",
            power,
            "kW",
            e=(energy, "kJ/kg"),
            M=(kg, "kg", "whole batch"),
            t=(time_min, "min"),
        ),
        step(
            "heat that each part gets",
            "E = P × 60 × u / (M / n)",
            given,
            "kJ/kg",
            P=(power, "kW"),
            u=(minutes_each, "min", "each part"),
            M=(kg, "kg"),
            n=(count, "", "parts"),
        ),
    )
    done = (
        Portion(float(wait), float(start), float(end), given)
        for wait, start, end in zip(waits, starts, ends, strict=True)
    )
    return Split(
        float(bowl.end_C(energy)),
        tuple(done),
        minutes_each,
        power,
        stages,
        own_notes=tuple(notes),
        own_working=working,
    )


def in_stages(bowl: Bowl, energy_kJ_per_kg: float, limit_C: float, back_to_C: float) -> Stages:
    """How many stages put in the energy (kJ per kg) without passing `limit_C`, chilled back to `back_to_C` between them."""
    energy = need_between("energy in kJ per kg", energy_kJ_per_kg, 0, 1000)
    need(
        back_to_C < limit_C,
        f"chilling back to {back_to_C:g} °C must end below the limit of {limit_C:g} °C",
    )
    first, _ = energy_to_reach(bowl, limit_C)
    later = float((bowl.enthalpy_kJ(limit_C) - bowl.enthalpy_kJ(back_to_C)) / bowl.kg)
    further = max(energy - first, 0.0)
    return Stages(1 + ceil(further / later - 1e-9), min(first, energy), later if further else 0.0)


def _summed(total, used: list[Machine], names: tuple[str, ...]) -> Machine:
    """The machines of a line as one."""
    *earlier, last = names
    name = f"{', '.join(earlier)} and {last}" if earlier else last
    status = "; ".join(dict.fromkeys(m.status for m in used))
    low, usual, high = total.tolist()
    return Machine(name, low, usual, high, "of batter", status, used[0].cite, "")


def _passes(name: str, times: int) -> list[str]:
    return [f"{times} {name} pass{'es' if times > 1 else ''}"] if times else []


def _stop(name: str, t_C) -> Stop:
    return Stop(name, *(float(t) for t in t_C))
