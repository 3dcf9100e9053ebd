"""How much does a litre of stuffed batter weigh, with the air that is in it?"""

from dataclasses import dataclass

from kit.errors import need_between
from kit.tables import number, value
from kit.working import Result, step


@dataclass(frozen=True)
class Density(Result):
    """Raw batter as it lies in the casing."""

    kg_per_m3: float
    air_free_kg_per_m3: float
    air_pct: float
    """of the volume"""


def batter_density(
    air_pct: float | None = None, air_free_kg_per_m3: float | None = None
) -> Density:
    """Density of batter with its air.

    air_pct: percent of the volume, 0 to the data row casing_greatest_air_pct. air_free_kg_per_m3: 850
    to 1300, from the composition (kit.properties) or a weighed, de-aired sample; else common practice.
    The usual air is that of filling under vacuum. Raises OutOfRange for an impossible share or density.
    """
    dense, air_row = number("casing_air_free_density_kg_per_m3"), number("casing_air_vacuum_pct")
    greatest = number("casing_greatest_density_kg_per_m3")
    solid, air, used = air_free_kg_per_m3, air_pct, []
    if solid is None:
        solid = dense.value
        used.append(dense)
    if air is None:
        air = air_row.value
        used.append(air_row)
    most_air, of_volume = value("casing_greatest_air_pct"), "a share of the volume, in percent"
    cubic = "give kilograms per cubic metre"
    solid = need_between("air_free_kg_per_m3", solid, 850, 1300, cubic)
    air = need_between("air_pct", air, 0, most_air, of_volume)
    notes = [
        f"{row.basis}: {row.value:g} {row.unit} taken ({row.status_in_words}); "
        "weigh a filled length to know"
        for row in used
    ]
    if solid > greatest.value:
        used.append(greatest)
        notes.append(
            f"{solid:g} kg/m3 without air is more than the {greatest.value:g} "
            "that was measured on raw meat emulsions"
        )
    rho = solid * (1 - air / 100)
    working = step(
        "Density of the stuffed batter",
        "rho = solid × (1 − air / 100)",
        rho,
        "kg/m3",
        key="density",
        solid=(solid, "kg/m3", "without air"),
        air=(air, "%", "of the volume"),
    )
    return Density(
        rho,
        solid,
        air,
        own_notes=tuple(notes),
        own_sources=tuple(row.cite() for row in used),
        own_working=(working,),
    )
