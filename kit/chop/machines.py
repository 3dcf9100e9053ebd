"""How much energy does a machine put into the batter, and where should chopping stop? Ranges, with what they rest on."""

from dataclasses import dataclass

from kit.errors import look_up
from kit.tables import Number, number, numbers

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

    @property
    def range_kJ_per_kg(self) -> tuple[float, float, float]:
        """Low, usual, high."""
        return self.low_kJ_per_kg, self.usual_kJ_per_kg, self.high_kJ_per_kg


@dataclass(frozen=True)
class Guide:
    """A published final chopping temperature for a kind of fat or batter: a guide for where to look, no limit for breaking."""

    name: str
    low_C: float
    high_C: float
    cite: str
    note: str

    def off_K(self, end_C: float) -> float:
        """How far an end lies outside: above 0 warmer, below 0 colder, 0 inside."""
        return max(end_C - self.high_C, 0.0) + min(end_C - self.low_C, 0.0)


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
    return look_up("machine", name, known)


def guides() -> dict[str, Guide]:
    """Published final chopping temperatures by kind of fat; they contradict each other in part, see the notes."""
    return {
        name: Guide(name, row.low, row.high, row.cite(), row.note) for name, row in _rows(_GUIDE)
    }


def _rows(prefix: str) -> list[tuple[str, Number]]:
    return [
        (name.removeprefix(prefix).replace("_", " "), number(name))
        for name in numbers()
        if name.startswith(prefix)
    ]
