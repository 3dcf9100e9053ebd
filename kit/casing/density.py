"""How much does a litre of stuffed batter weigh, with the air that is in it?"""

from dataclasses import dataclass

from kit.errors import UnknownName, need_between
from kit.tables import number
from kit.working import Step, step

VACUUM, OPEN = "vacuum", "open"


@dataclass(frozen=True)
class Density:
    """Raw batter as it lies in the casing."""

    kg_per_m3: float
    air_free_kg_per_m3: float
    air_pct: float
    """of the volume"""
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def batter_density(
    air_pct: float | None = None, air_free_kg_per_m3: float | None = None, filled: str = VACUUM
) -> Density:
    """Density with an air share. `air_free_kg_per_m3` from the composition (kit.properties) or a weighed, de-aired sample; else common practice.

    `filled` ("vacuum" or "open") chooses the usual air share where `air_pct` is not given. OutOfRange for an impossible share or density.
    """
    usual_air = {VACUUM: "casing_air_vacuum_pct", OPEN: "casing_air_open_pct"}
    if filled not in usual_air:
        raise UnknownName("way of filling", str(filled), usual_air)
    dense, greatest = (
        number("casing_air_free_density_kg_per_m3"),
        number("casing_greatest_density_kg_per_m3"),
    )
    air_row, most_air = number(usual_air[filled]), number("casing_greatest_air_pct")
    used = [
        row for row, given in ((dense, air_free_kg_per_m3), (air_row, air_pct)) if given is None
    ]
    solid = need_between(
        "air_free_kg_per_m3",
        dense.value if air_free_kg_per_m3 is None else air_free_kg_per_m3,
        850,
        1300,
        "give kilograms per cubic metre",
    )
    air = need_between(
        "air_pct",
        air_row.value if air_pct is None else air_pct,
        0,
        most_air.value,
        "a share of the volume, in percent",
    )
    rho = solid * (1 - air / 100)
    notes = tuple(
        f"{row.basis}: {row.value:g} {row.unit} taken ({row.status_in_words}); weigh a filled length to know"
        for row in used
    )
    if solid > greatest.value:
        notes += (
            f"{solid:g} kg/m3 without air is more than the {greatest.value:g} that was measured on raw meat emulsions",
        )
        used.append(greatest)
    return Density(
        rho,
        solid,
        air,
        notes,
        tuple(dict.fromkeys(row.cite() for row in used)),
        (
            step(
                "Density of the stuffed batter",
                "rho = solid × (1 − air / 100)",
                rho,
                "kg/m3",
                solid=(solid, "kg/m3", "without air"),
                air=(air, "%", "of the volume"),
            ),
        ),
    )
