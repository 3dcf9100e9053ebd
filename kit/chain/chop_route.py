"""Which machines does the batch go through, and how warm is it after each? What if it is split, or chopped in goes?

Grinder passes work on the meat alone, before anything else is in; the main machine and the passes through an emulsifier (a fine mill) work on the whole batter.
Each machine is a range of heat, so each stop has a low, a usual and a high temperature.
"""

from dataclasses import dataclass, replace

import numpy as np

from kit.chain.chop import ice_needed
from kit.chop import (
    Bowl,
    Goes,
    Guide,
    IceAnswer,
    Machine,
    Split,
    Surroundings,
    chop,
    end_after_C,
    in_goes,
    machine,
    split_batch,
)
from kit.chop.charge import LIKE_MEAT
from kit.errors import OutOfRange, need, need_between
from kit.working import Step, step

MAIN = ("bowl cutter", "food processor", "paddle mixer", "kneader")
MOST_PASSES = 6
WHICH = ("low", "usual", "high")
SAME_HEAT, SAME_MINUTES = "the same heat per kg", "the same minutes"


@dataclass(frozen=True)
class Stop:
    """The batter (or the meat alone) after one step, at the low, usual and high end of the machines so far."""

    name: str
    low_C: float
    usual_C: float
    high_C: float


@dataclass(frozen=True)
class Route:
    """`machine` holds the sum of all ranges per kg of batter; `gained_kJ_per_kg` what the room gave at the usual heat; room and the bowl's steel together
    end it `warmed_K` warmer than without them.

    `ice` is None where a note says why no share of ice ends at `planned_C`.
    """

    stops: tuple[Stop, ...]
    machine: Machine
    gained_kJ_per_kg: float
    warmed_K: float
    guide: Guide
    planned_C: float
    ice: IceAnswer | None
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def end(self) -> Stop:
        return self.stops[-1]


def route_of(
    bowl: Bowl,
    guide: Guide,
    planned_C: float,
    main: str = "bowl cutter",
    grinder_passes: int = 0,
    mill_passes: int = 0,
    *,
    minutes: float = 8.0,
    surroundings: Surroundings | None = None,
) -> Route:
    """A bowl through grinder, main machine and mill. `surroundings` and the bowl's own steel warm or cool it while the main machine runs."""
    grinds, mills = (
        int(need_between(what, count, 0, MOST_PASSES))
        for what, count in (("grinder passes", grinder_passes), ("emulsifier passes", mill_passes))
    )
    time_min = need_between("minutes in the main machine", minutes, 0.1, 600)
    meats = tuple(c for c in bowl.charges if c.kind in LIKE_MEAT)
    need(bool(meats), "there is no meat in the bowl to be ground")
    meat, kg = Bowl(meats), float(bowl.kg)
    grinder, first, mill = (machine(name) for name in ("grinder", main, "emulsifier"))
    per_pass, in_main, through_mill = (
        np.array([getattr(m, f"{which}_kJ_per_kg") for which in WHICH])
        for m in (grinder, first, mill)
    )
    share = float(meat.kg) / kg

    stops = [_stop("meat as it goes in", np.full(3, meat.end_C(0.0)))]
    stops += [
        _stop(f"meat, grinder pass {n}", meat.end_C(n * per_pass)) for n in range(1, grinds + 1)
    ]
    ground = grinds * per_pass * share
    stops.append(_stop("all in the bowl, mixed", bowl.end_C(ground)))
    at = np.asarray(end_after_C(bowl, (ground + in_main) / time_min, time_min, surroundings))
    stops.append(_stop(main, at))
    heat = bowl.enthalpy_kJ(at)
    for n in range(1, mills + 1):
        stops.append(
            _stop(f"emulsifier, pass {n}", bowl.temperature_C(heat + n * kg * through_mill))
        )

    total = ground + in_main + mills * through_mill
    gained = float(heat[1] - bowl.heat_in_kJ - kg * (ground + in_main)[1])
    *earlier, last = (*_passes("grinder", grinds), f"the {main}", *_passes("emulsifier", mills))
    named = f"{', '.join(earlier)} and {last}" if earlier else last
    used = [m for m, times in ((grinder, grinds), (first, 1), (mill, mills)) if times]
    summed = Machine(
        named,
        *total.tolist(),
        "of batter",
        "; ".join(dict.fromkeys(m.status for m in used)),
        used[0].cite,
        "",
    )
    found = chop(bowl, float(total[1]), gained)
    ice, why = ice_needed(bowl, planned_C, float(total[1]) + gained / kg)
    sums = {
        "p": (grinds, "", "grinder passes"),
        "g": (grinder.usual_kJ_per_kg, "kJ/kg", "of meat, each pass"),
        "m": (float(meat.kg), "kg", "meat"),
        "M": (kg, "kg", "batter"),
        "c": (first.usual_kJ_per_kg, "kJ/kg", main),
        "n": (mills, "", "emulsifier passes"),
        "d": (mill.usual_kJ_per_kg, "kJ/kg", "each pass"),
    }
    notes = [
        "Each machine's range stands for itself: low is low in all of them, high is high in all.",
        "The grinder works on the meat alone, before anything else is in.",
        *(m.note and f"{m.name.capitalize()}: {m.note}." for m in used),
        *why,
        *found.notes,
    ]
    if surroundings is None and not bowl.steel_kg:
        notes.append("No heat from bowl and room is counted.")
    return Route(
        tuple(stops),
        summed,
        gained / kg,
        float(stops[-1].usual_C - replace(bowl, steel_kg=0.0).end_C(total[1])),
        guide,
        planned_C,
        ice,
        tuple(filter(None, notes)),
        tuple(dict.fromkeys((guide.cite, *(m.cite for m in used), *found.sources))),
        (
            step(
                "heat of the machines per kg of batter, usual",
                "e = p × g × m / M + c + n × d",
                float(total[1]),
                "kJ/kg",
                **sums,
            ),
            *found.working,
        ),
    )


@dataclass(frozen=True)
class Parted:
    """One batch whole and in parts, and in goes with a chill between. `goes` is None where a note says why."""

    whole_end_C: float
    split: Split
    goes: Goes | None
    energy_kJ_per_kg: float
    minutes_each: float
    power_kW: float
    notes: tuple[str, ...]
    working: tuple[Step, ...]


def parted(
    bowl: Bowl,
    energy_kJ_per_kg: float,
    minutes: float,
    parts: int,
    each: str = SAME_HEAT,
    surroundings: Surroundings | None = None,
    limit_C: float = 15.0,
    back_to_C: float = 4.0,
) -> Parted:
    """`energy_kJ_per_kg` in `minutes` is what the whole batch gets; the motor's power stays. `each`: what every part gets. `surroundings` warm the parts that wait."""
    energy, time_min = (
        need_between("energy in kJ per kg of batter", energy_kJ_per_kg, 0, 1000),
        need_between("minutes for the whole batch", minutes, 0.1, 600),
    )
    count, kg = int(need_between("parts", parts, 1, 100)), float(bowl.kg)
    power = energy * kg / (60 * time_min)
    minutes_each = time_min / count if each == SAME_HEAT else time_min
    split = split_batch(bowl, count, power, minutes_each, surroundings=surroundings)
    goes, why = None, ()
    try:
        goes = in_goes(bowl, energy, limit_C, back_to_C)
    except OutOfRange as error:
        why = (f"In goes: {error}.",)
    part = split.parts[0]
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
            part.energy_kJ_per_kg,
            "kJ/kg",
            P=(power, "kW"),
            u=(minutes_each, "min", "each part"),
            M=(kg, "kg"),
            n=(count, "", "parts"),
        ),
    )
    return Parted(
        float(bowl.end_C(energy)),
        split,
        goes,
        energy,
        minutes_each,
        power,
        (*split.notes, *(goes.notes if goes else ()), *why),
        working,
    )


def with_steel(bowl: Bowl, kg: float, t_C: float) -> Bowl:
    """The bowl with `kg` of steel at `t_C` that follow the batter's temperature."""
    return replace(bowl, steel_kg=need_between("steel of the bowl in kg", kg, 0, 5000), steel_C=t_C)


def _passes(name: str, times: int) -> list[str]:
    return [f"{times} {name} pass{'es' if times > 1 else ''}"] if times else []


def _stop(name: str, t_C) -> Stop:
    return Stop(name, *(float(t) for t in t_C))
