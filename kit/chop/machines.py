"""How much energy does a machine put into the batter, and where should chopping end? Ranges, with what they rest on."""

from dataclasses import dataclass

from kit.errors import UnknownName, need_between
from kit.tables import Number, number, numbers, value

_MACHINE, _GUIDE = "machine_", "end_guide_"


@dataclass(frozen=True)
class Machine:
    """Energy into the batter, kJ per kg, as a range; not a constant of the machine."""

    name: str
    low_kJ_per_kg: float
    usual_kJ_per_kg: float
    high_kJ_per_kg: float
    basis: str
    status: str
    cite: str
    note: str


@dataclass(frozen=True)
class Guide:
    """An end temperature somebody prints for a kind of fat or batter: a guide for where to look, no limit for breaking."""

    name: str
    low_C: float
    high_C: float
    cite: str
    note: str


def machines() -> dict[str, Machine]:
    """Bowl cutter, emulsifier, grinder, paddle mixer, kneader and food processor by name."""
    return {
        name: Machine(
            name, row.low, row.value, row.high, row.basis, row.status_in_words, row.cite(), row.note
        )
        for name, row in _rows(_MACHINE)
    }


def machine(name: str) -> Machine:
    known = machines()
    if name not in known:
        raise UnknownName("machine", name, known)
    return known[name]


def guides() -> dict[str, Guide]:
    """Printed end temperatures by kind of fat; they contradict each other in part, see the notes."""
    return {
        name: Guide(name, row.low, row.high, row.cite(), row.note) for name, row in _rows(_GUIDE)
    }


def energy_from_power(
    power_kW: float, minutes: float, kg: float, share_into_batter: float = 1.0
) -> float:
    """kJ per kg from the motor's power, the minutes and the share that ends as heat in the batter (0 to 1)."""
    power = need_between("power in kW", power_kW, 0, 1000)
    time_min = need_between("minutes", minutes, 0, 600)
    batter_kg = need_between("batter in kg", kg, 1e-3, 10_000)
    return (
        power
        * time_min
        * 60
        * need_between("share into the batter", share_into_batter, 0, 1)
        / batter_kg
    )


def minutes_for_energy(
    energy_kJ_per_kg: float, power_kW: float, kg: float, share_into_batter: float = 1.0
) -> float:
    """The inverse of `energy_from_power`."""
    power = need_between("power in kW", power_kW, 1e-6, 1000)
    share = need_between("share into the batter", share_into_batter, 1e-6, 1)
    return (
        need_between("energy in kJ per kg", energy_kJ_per_kg, 0, 1000) * kg / (60 * power * share)
    )


def usual_minutes() -> float:
    return value("chop_usual_minutes")


def _rows(prefix: str) -> list[tuple[str, Number]]:
    return [
        (name.removeprefix(prefix).replace("_", " "), number(name))
        for name in numbers()
        if name.startswith(prefix)
    ]
