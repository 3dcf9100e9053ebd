"""What is one batch sheet? Frozen shapes; every one comes out of `read_sheet`, so every one is checked."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from kit.errors import UnknownName
from kit.materials import Material
from kit.sheet.amount import Amount, working
from kit.sheet.fields import Entry
from kit.working import Step

if TYPE_CHECKING:
    from kit.meat_block.mix import Composition


@dataclass(frozen=True)
class Line(Entry):
    """One ingredient: amount as written, kilograms in this batch, and what it is made of.

    Every other field of a line (temperature_C, pH, price_per_kg, stock_kg, nitrite_pct, form, ...) is an attribute, None where blank.
    """

    part = "line"
    kind: str
    name: str
    amount: Amount
    kg: float
    material: Material
    given: tuple[tuple[str, float | str], ...] = ()

    @property
    def compound(self) -> str:
        """Which accelerator or phosphate this is, as named on the line or in the list of materials; '' for other kinds."""
        return (
            (self.form or self.material.name) if self.kind in ("accelerator", "phosphate") else ""
        )


@dataclass(frozen=True)
class CookStep(Entry):
    """One step of the cook, in order: kind, duration_min, dry_bulb_C, and wet_bulb_C or rh_pct, air_m_per_s."""

    part = "cook"
    given: tuple[tuple[str, float | str], ...] = ()


@dataclass(frozen=True)
class Weighing(Entry):
    """What one stage weighed: stage, in_kg, out_kg, additions_kg, rework_in_kg, rework_out_kg, samples_kg, scrap_kg, giveaway_kg, sd_kg.

    A weight not taken is None.
    """

    part = "weighing"
    given: tuple[tuple[str, float | str], ...] = ()


@dataclass(frozen=True)
class Process(Entry):
    """How the batch is to be made. Every process field of data/sheet/fields.csv is an attribute, None where nothing was planned."""

    part = "process"
    given: tuple[tuple[str, float | str], ...] = ()
    cook: tuple[CookStep, ...] = ()

    @property
    def written_end_C(self) -> float | None:
        """End of chopping as the sheet has it: measured before planned; None where neither is written."""
        return self.chop_end_C if self.chop_end_measured_C is None else self.chop_end_measured_C


@dataclass(frozen=True)
class Sheet:
    """One batch as planned and weighed. `notes` says what the reader had to take on trust; it does not count in a comparison."""

    name: str
    lines: tuple[Line, ...]
    process: Process = Process()
    weighings: tuple[Weighing, ...] = ()
    rule: str = ""
    currency: str = ""
    note: str = ""
    notes: tuple[str, ...] = field(default=(), compare=False)

    @property
    def meat_kg(self) -> float:
        """The meat block: all lines of kind 'meat'."""
        return self.kg_of("meat")

    @property
    def batch_kg(self) -> float:
        """Everything in the bowl."""
        return sum(line.kg for line in self.lines)

    @property
    def cook_yield_pct(self) -> float | None:
        """Cook yield expected on the sheet."""
        return self.process.cook_yield_pct

    @property
    def materials(self) -> tuple[Material, ...]:
        return tuple(line.material for line in self.lines)

    @property
    def kg(self) -> tuple[float, ...]:
        return tuple(line.kg for line in self.lines)

    @cached_property
    def composition(self) -> "Composition":
        """What everything in the bowl is made of, worked out once: by constituent, class in law, species and temperature."""
        from kit.meat_block.mix import compose

        return compose(
            self.materials,
            self.kg,
            names=[line.name for line in self.lines],
            temperature_C=[line.temperature_C for line in self.lines],
        )

    def kg_of(self, *kinds: str) -> float:
        """Kilograms of all lines of these kinds."""
        return sum(line.kg for line in self.lines if line.kind in kinds)

    def of_kind(self, *kinds: str) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.kind in kinds)

    def line(self, name: str) -> Line:
        """The line of that name; UnknownName with the nearest three."""
        for line in self.lines:
            if line.name.casefold() == name.strip().casefold():
                return line
        raise UnknownName("line", name, [line.name for line in self.lines])

    def weighing(self, stage: str) -> Weighing | None:
        """What was weighed at that stage, or None."""
        return next((weighing for weighing in self.weighings if weighing.stage == stage), None)

    @property
    def sources(self) -> tuple[str, ...]:
        """Where the compositions of the ingredients come from."""
        return tuple(dict.fromkeys(line.material.cite() for line in self.lines))

    @property
    def working(self) -> tuple[Step, ...]:
        """How shares became kilograms."""
        return working(
            [line.name for line in self.lines],
            [line.amount for line in self.lines],
            [line.kind == "meat" for line in self.lines],
            self.meat_kg,
            self.batch_kg,
        )

    def as_dict(self) -> dict:
        """The sheet as plain nested data, in the shape of its TOML form; `read_sheet` of it gives an equal sheet."""
        head = {
            key: getattr(self, key)
            for key in ("name", "rule", "currency", "note")
            if getattr(self, key)
        }
        parts = {
            "line": [
                {
                    "kind": line.kind,
                    "name": line.name,
                    "amount": line.amount.written,
                    **dict(line.given),
                }
                for line in self.lines
            ],
            "process": dict(self.process.given),
            "cook": [dict(step.given) for step in self.process.cook],
            "weighing": [dict(weighing.given) for weighing in self.weighings],
        }
        return head | {key: part for key, part in parts.items() if part}

    def with_amounts(self, amounts: Mapping[str, float | str]) -> "Sheet":
        """The same sheet with other amounts for the named lines: kilograms, or text such as '2 % of meat'. Checked again in full."""
        return self._changed(
            {
                name: {"amount": f"{float(amount)!r} kg" if not isinstance(amount, str) else amount}
                for name, amount in amounts.items()
            },
            {},
        )

    def with_process(self, **values) -> "Sheet":
        """The same sheet with other process fields; None takes a field away."""
        return self._changed({}, values)

    def _changed(self, lines: Mapping[str, dict], process: Mapping) -> "Sheet":
        from kit.sheet.files import read_sheet

        named = {self.line(name).name: change for name, change in lines.items()}
        data = self.as_dict()
        data["line"] = [line | named.get(line["name"], {}) for line in data["line"]]
        merged = data.get("process", {}) | dict(process)
        data["process"] = {key: value for key, value in merged.items() if value is not None}
        return read_sheet(data)
