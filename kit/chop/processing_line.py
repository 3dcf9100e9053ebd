"""Which machines does the batch go through, and how warm is it after each?

Grinder passes work on the meat alone, before anything else is in; the main machine and the passes through an emulsifier (a
fine mill) work on the whole batter. Each machine is a range of heat, so each stop has a low, a usual and a high temperature.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from kit.chop.bowl import Bowl
from kit.chop.charge import LIKE_MEAT
from kit.chop.machines import Machine, machine
from kit.errors import need, need_between
from kit.working import Result, notes_of, working_of

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
    """`machine` holds the sum of all ranges per kg of batter."""

    stops: tuple[Stop, ...]
    machine: Machine


def through_line(
    bowl: Bowl, main: str = "bowl cutter", grinder_passes: int = 0, mill_passes: int = 0
) -> ProcessingLine:
    """A bowl through grinder, main machine and mill, stop by stop.

    main: one of MAIN. grinder_passes, mill_passes: 0 to MOST_PASSES.
    Raises OutOfRange without meat or where the bowl would boil, UnknownName for a machine.
    """
    grinds = int(need_between("grinder passes", grinder_passes, 0, MOST_PASSES))
    mills = int(need_between("emulsifier passes", mill_passes, 0, MOST_PASSES))
    meats = bowl.of_kind(*LIKE_MEAT)
    need(bool(meats), "there is no meat in the bowl to be ground")
    meat, kg = Bowl(meats), float(bowl.kg)
    grinder, first, mill = (machine(name) for name in ("grinder", main, "emulsifier"))
    per_pass, in_main, through_mill = (np.array(m.range_kJ_per_kg) for m in (grinder, first, mill))
    ground = grinds * per_pass * float(meat.kg) / kg

    stops = [Stop("meat as it goes in", *(3 * [float(meat.end_C(0.0))]))]
    stops += [_stop(f"meat, grinder pass {n}", meat, n * per_pass) for n in range(1, grinds + 1)]
    stops.append(_stop("all in the bowl, mixed", bowl, ground))
    stops.append(_stop(main, bowl, ground + in_main))
    for n in range(1, mills + 1):
        stops.append(_stop(f"emulsifier, pass {n}", bowl, ground + in_main + n * through_mill))

    used = [m for m, times in ((grinder, grinds), (first, 1), (mill, mills)) if times]
    low, usual, high = (ground + in_main + mills * through_mill).tolist()
    known = {"e": usual, "p": grinds, "n": mills, "m": float(meat.kg), "M": kg}
    known |= zip("gcd", (each.usual_kJ_per_kg for each in (grinder, first, mill)))
    names = [*_passes("grinder", grinds), f"the {main}", *_passes("emulsifier", mills)]
    name = " and ".join((", ".join(names[:-1]), names[-1])) if names[1:] else names[0]
    status = "; ".join(dict.fromkeys(m.status for m in used))
    return ProcessingLine(
        tuple(stops),
        Machine(name, low, usual, high, "of batter", status, used[0].cite, ""),
        own_notes=(
            *notes_of("line of machines", {}),
            *(f"{m.name.capitalize()}: {m.note}." for m in used if m.note),
        ),
        own_sources=tuple(m.cite for m in used),
        own_working=working_of("line of machines", main=main, **known),
    )


def _passes(name: str, times: int) -> list[str]:
    return [f"{times} {name} pass{'es' if times > 1 else ''}"] if times else []


def _stop(name: str, bowl: Bowl, energy_kJ_per_kg: np.ndarray) -> Stop:
    return Stop(name, *bowl.end_C(energy_kJ_per_kg).tolist())
