"""The same cure chopped in, pumped in, or left to soak in from a pickle: what is under the line each time?

Chopped in, all of it stays with the meat. Soaked, it spreads over meat and pickle alike. Pumped, only the pickle that goes in counts.
"""

from dataclasses import dataclass

from kit.cure.dose import immersion_ppm, injection_ppm, need_hand_dosable, nitrite_ppm
from kit.cure.premix import Premix
from kit.errors import OutOfRange, need, need_between
from kit.rules import Limit, limit
from kit.tables import cite
from kit.working import Step, step


@dataclass(frozen=True)
class Way:
    """One way to bring cure into meat. `ppm`: NaNO2 per `base`; `limit`: the US figure for that way, None where none is held here."""

    name: str
    ppm: float
    base: str
    base_kg: float
    formula: str
    limit: Limit | None
    source: str


@dataclass(frozen=True)
class Ways:
    nitrite_kg: float
    pumped_kg: float
    ways: tuple[Way, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def three_ways(
    mix: Premix, cure_kg: float, meat_kg: float, pickle_kg: float, pump_pct: float
) -> Ways:
    """`cure_kg` of `mix` in `meat_kg`: chopped in; or made up into `pickle_kg` of pickle (cure counted) and pumped at `pump_pct` of the green
    weight, or left to equilibrium.

    Raises OutOfRange for impossible weights, more pickle pumped than was made, or pure nitrite by hand.
    """
    need_between("cure_kg", cure_kg, 0, 1e6)
    need_between("meat_kg", meat_kg, 1e-6, 1e6, "the green weight of the meat")
    need_between(
        "pickle_kg",
        pickle_kg,
        max(cure_kg, 1e-6),
        1e7,
        "the pickle holds the cure, so it weighs more than the cure",
    )
    need_between("pump_pct", pump_pct, 0, 100, "pickle pumped, % of the green weight")
    need_hand_dosable(mix, meat_kg)
    nitrite, pumped = cure_kg * mix.strength_pct / 100, meat_kg * pump_pct / 100
    need(
        pumped <= pickle_kg * (1 + 1e-9),
        f"pumping {pump_pct:g} % of {meat_kg:g} kg takes {pumped:g} kg of pickle and {pickle_kg:g} kg were made; make more pickle or pump less",
        OutOfRange,
    )
    chopped, soaked = (
        float(x)
        for x in (
            nitrite_ppm(cure_kg, mix.strength_pct, meat_kg),
            immersion_ppm(nitrite, meat_kg, pickle_kg),
        )
    )
    injected = float(injection_ppm(nitrite, pump_pct, pickle_kg))
    ways = (
        Way(
            "chopped in",
            chopped,
            "meat",
            meat_kg,
            "nitrite / meat",
            limit("us_nitrite_ingoing"),
            cite("fsis_7620_3", "p. 12 and 15", "quoted"),
        ),
        Way(
            "pumped",
            injected,
            "green meat",
            meat_kg,
            "nitrite × pump % / 100 / pickle",
            limit("us_nitrite_pickle"),
            cite("fsis_7620_3", "p. 19", "memory"),
        ),
        Way(
            "left in pickle to the end",
            soaked,
            "meat and pickle",
            meat_kg + pickle_kg,
            "nitrite / (meat + pickle)",
            limit("us_nitrite_pickle"),
            cite("fsis_7620_3", "p. 22", "quoted"),
        ),
    )
    work = (
        step(
            "nitrite in the cure",
            "N = cure × strength / 100",
            nitrite,
            "kg NaNO2",
            cure=(cure_kg, "kg"),
            strength=(mix.strength_pct, "%"),
        ),
        step(
            "chopped in",
            "ppm = N × 1000000 / meat",
            chopped,
            "mg/kg",
            N=(nitrite, "kg"),
            meat=(meat_kg, "kg"),
        ),
        step(
            "pumped",
            "ppm = N × pump / 100 × 1000000 / pickle",
            injected,
            "mg/kg of green meat",
            N=(nitrite, "kg"),
            pump=(pump_pct, "%"),
            pickle=(pickle_kg, "kg"),
        ),
        step(
            "left in pickle to equilibrium",
            "ppm = N × 1000000 / (meat + pickle)",
            soaked,
            "mg/kg of meat and pickle",
            N=(nitrite, "kg"),
            meat=(meat_kg, "kg"),
            pickle=(pickle_kg, "kg"),
        ),
    )
    notes = (
        "to equilibrium takes days to weeks in whole pieces and is assumed, not predicted; what drips from pumped meat is not counted",
        "a cooked sausage is chopped: the other two are here to show what is under the line",
    )
    return Ways(
        nitrite,
        pumped,
        ways,
        notes,
        tuple(
            dict.fromkeys(
                (*(way.source for way in ways), *(way.limit.cite() for way in ways if way.limit))
            )
        ),
        work,
    )
