"""Which machines does the batch go through, and how warm is it after each?

Grinder passes work on the meat alone, before anything else is in; the main machine and the passes through an emulsifier (a
fine mill) work on the whole batter. Each machine is a range of heat, so each stop has a low, a usual and a high temperature.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from kit.chop.bowl import Bowl
from kit.chop.charge import LIKE_MEAT
from kit.chop.machines import Machine, machine
from kit.chop.path import Surroundings, end_after_C
from kit.errors import need, need_between
from kit.working import Result, step

MAIN = ("bowl cutter", "food processor", "paddle mixer", "kneader")
MOST_PASSES = 6


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
    """

    stops: tuple[Stop, ...]
    machine: Machine
    gained_kJ_per_kg: float
    warmed_K: float


def through_line(
    bowl: Bowl,
    main: str = "bowl cutter",
    grinder_passes: int = 0,
    mill_passes: int = 0,
    *,
    minutes: float = 8.0,
    surroundings: Surroundings | None = None,
) -> ProcessingLine:
    """A bowl through grinder, main machine and mill, stop by stop.

    main: one of MAIN. grinder_passes, mill_passes: 0 to MOST_PASSES. minutes: in the main machine, 0.1 to 600, while
    `surroundings` and the bowl's own steel warm or cool it.
    Raises OutOfRange without meat or where the bowl would boil, UnknownName for a machine.
    """
    grinds = int(need_between("grinder passes", grinder_passes, 0, MOST_PASSES))
    mills = int(need_between("emulsifier passes", mill_passes, 0, MOST_PASSES))
    time_min = need_between("minutes in the main machine", minutes, 0.1, 600)
    meats = bowl.of_kind(*LIKE_MEAT)
    need(bool(meats), "there is no meat in the bowl to be ground")
    meat, kg = Bowl(meats), float(bowl.kg)
    grinder, first, mill = (machine(name) for name in ("grinder", main, "emulsifier"))
    per_pass, in_main, through_mill = (np.array(m.range_kJ_per_kg) for m in (grinder, first, mill))
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
    ]
    if surroundings is None and not bowl.steel_kg:
        notes.append("No heat from bowl and room is counted.")
    names = [*_passes("grinder", grinds), f"the {main}", *_passes("emulsifier", mills)]
    name = " and ".join((", ".join(names[:-1]), names[-1])) if names[1:] else names[0]
    low, _, high = total.tolist()
    status = "; ".join(dict.fromkeys(m.status for m in used))
    return ProcessingLine(
        tuple(stops),
        Machine(name, low, usual, high, "of batter", status, used[0].cite, ""),
        gained / kg,
        float(stops[-1].usual_C - replace(bowl, steel_kg=0.0).end_C(usual)),
        own_notes=tuple(notes),
        own_sources=tuple(m.cite for m in used),
        own_working=(energy_sum,),
    )


def _passes(name: str, times: int) -> list[str]:
    return [f"{times} {name} pass{'es' if times > 1 else ''}"] if times else []


def _stop(name: str, t_C) -> Stop:
    return Stop(name, *(float(t) for t in t_C))
