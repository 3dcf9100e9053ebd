"""How much ice takes the heat of the cook out again?"""

from dataclasses import dataclass

from kit.errors import need_between
from kit.faults import need_said
from kit.tables import number, value
from kit.working import Result, notes_of, working_of


@dataclass(frozen=True)
class Ice(Result):
    """Ice for a chill bath."""

    ice_kg: float
    heat_kJ: float
    ice_per_kg: float


def ice_to_chill(sausage_kg: float, start_C: float, end_C: float) -> Ice:
    """Ice at 0 °C that takes sausage down, its melt leaving as warm as the sausage ends.

    sausage_kg: above 0. start_C, end_C: mean temperature of the sausage, 0 to 100 °C, the end below the start.
    Heat from water, room and tub is not in it. Fat that sets gives a little more heat than a constant heat capacity says. Raises OutOfRange outside these ranges.
    """
    mass = need_between("sausage", sausage_kg, 0, 1e6)
    start = need_between("start temperature", start_C, 0, 100)
    end = need_between("final temperature", end_C, 0, 100)
    need_said(mass > 0, "nothing to chill")
    need_said(end < start, "chilled already", end=end, start=start)
    cp, cw = value("cook_heat_capacity") / 1000, value("cook_chill_water_heat")
    latent = value("ice_latent_heat")
    heat, takes = mass * cp * (start - end), latent + cw * end
    ice = heat / takes
    known = {"m": mass, "c": cp, "T0": start, "T1": end, "L": latent, "cw": cw}
    rows = ("ice_latent_heat", "cook_chill_water_heat", "cook_heat_capacity")
    return Ice(
        ice,
        heat,
        ice / mass,
        own_notes=notes_of("ice to chill", {}),
        own_sources=tuple(number(row).cite() for row in rows),
        own_working=working_of("ice to chill", Q=heat, q=takes, ice=ice, **known),
    )
