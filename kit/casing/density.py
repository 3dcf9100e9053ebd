"""How much does a litre of stuffed batter weigh, with the air that is in it?"""

from dataclasses import dataclass

from kit.errors import need_between
from kit.tables import number, value
from kit.working import Result, notes_of, working_of


@dataclass(frozen=True)
class Density(Result):
    """Raw batter as it lies in the casing."""

    kg_per_m3: float
    air_free_kg_per_m3: float


def batter_density(
    air_pct: float | None = None, air_free_kg_per_m3: float | None = None
) -> Density:
    """Density of batter with its air.

    air_pct: percent of the volume, 0 to the data row casing_greatest_air_pct. air_free_kg_per_m3: 850
    to 1300, from the composition (kit.properties) or a weighed, de-aired sample; else common practice.
    The usual air is that of filling under vacuum. Raises OutOfRange for an impossible share or density.
    """
    given = {
        "casing_air_free_density_kg_per_m3": air_free_kg_per_m3,
        "casing_air_vacuum_pct": air_pct,
    }
    usual = [number(name) for name, own in given.items() if own is None]
    solid, air = (value(name) if own is None else own for name, own in given.items())
    cubic, of_volume = "give kilograms per cubic metre", "a share of the volume, in percent"
    solid = need_between("air_free_kg_per_m3", solid, 850, 1300, cubic)
    air = need_between("air_pct", air, 0, value("casing_greatest_air_pct"), of_volume)
    notes = [
        f"{row.basis}: {row.value:g} {row.unit} assumed ({row.status_in_words}); "
        "weigh a filled length to know"
        for row in usual
    ]
    greatest = number("casing_greatest_density_kg_per_m3")
    if dense := solid > greatest.value:
        usual.append(greatest)
    notes += notes_of("density of batter", {"dense": dense}, solid=solid, greatest=greatest.value)
    rho = solid * (1 - air / 100)
    return Density(
        rho,
        solid,
        own_notes=tuple(notes),
        own_sources=tuple(row.cite() for row in usual),
        own_working=working_of("density of batter", rho=rho, solid=solid, air=air),
    )
