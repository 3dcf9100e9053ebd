"""How much ice takes the heat of the cook out again?"""

from dataclasses import dataclass

from kit.errors import need, need_between
from kit.tables import number, value
from kit.working import Result, step


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
    need(mass > 0, "sausage must be more than 0 kg")
    need(
        end < start,
        f"end {end:g} °C is not below the start {start:g} °C; nothing needs to be chilled",
    )
    cp, cw = value("cook_heat_capacity") / 1000, value("cook_chill_water_heat")
    latent = value("ice_latent_heat")
    heat, takes = mass * cp * (start - end), latent + cw * end
    ice = heat / takes
    m, c, T0, T1 = (mass, "kg"), (cp, "kJ/(kg K)"), (start, "°C"), (end, "°C")
    L, c_water = (latent, "kJ/kg"), (cw, "kJ/(kg K)")
    Q, q = (heat, "kJ"), (takes, "kJ/kg")
    steps = (
        step("Heat out of the sausage", "Q = m × c × (T0 − T1)", *Q, m=m, c=c, T0=T0, T1=T1),
        step("Heat that a kilogram of ice takes", "q = L + cw × T1", *q, L=L, cw=c_water, T1=T1),
        step("Ice", "ice = Q / q", ice, "kg", Q=Q, q=q),
    )
    rows = ("ice_latent_heat", "cook_chill_water_heat", "cook_heat_capacity")
    note = "Heat from water, room and tub is not counted: have spare ice ready. Use clean ice and drinking water."
    return Ice(
        ice,
        heat,
        ice / mass,
        own_notes=(note,),
        own_sources=tuple(number(row).cite() for row in rows),
        own_working=steps,
    )
