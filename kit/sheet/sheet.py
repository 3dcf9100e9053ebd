"""What is one batch sheet? Frozen, and every one is checked before it is made."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from kit.errors import UnknownName
from kit.faults import Faults
from kit.materials import Material
from kit.sheet.amount import working
from kit.sheet.check import check
from kit.sheet.draft import Draft, draft_of
from kit.sheet.entries import Line, Process, Weighing, written
from kit.working import Step

NAMELESS = "batch"

if TYPE_CHECKING:
    from kit.meat_block.mix import Composition


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
        """What everything in the bowl is made of, calculated once: by constituent, class in law and species."""
        from kit.meat_block.mix import compose

        return compose(self.materials, self.kg)

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
        """The sheet as plain nested data, in the shape of its TOML form; `sheet_of` it gives an equal sheet."""
        head = {
            key: getattr(self, key)
            for key in ("name", "rule", "currency", "note")
            if getattr(self, key)
        }
        first = dict.fromkeys(("kind", "name", "amount"))
        parts = {
            "line": [first | written("line", line) for line in self.lines],
            "process": written("process", self.process),
            "cook": [written("cook", step) for step in self.process.cook],
            "weighing": [written("weighing", weighing) for weighing in self.weighings],
        }
        return head | {key: part for key, part in parts.items() if part}

    def with_amounts(self, amounts: Mapping[str, float | str]) -> "Sheet":
        """The same sheet with other amounts for the named lines: kilograms, text such as '2 % of meat', or '' to leave the line out. Checked again in full."""
        asked = {self.line(name).name: amount for name, amount in amounts.items()}
        data = self.as_dict()
        for line in data["line"]:
            amount = asked.get(line["name"], line["amount"])
            line["amount"] = amount if isinstance(amount, str) else f"{float(amount)!r} kg"
        data["line"] = [line for line in data["line"] if line["amount"]]
        return sheet_of(data)

    def with_process(self, **values) -> "Sheet":
        """The same sheet with other process fields; None takes a field away."""
        data = self.as_dict()
        merged = data.get("process", {}) | values
        data["process"] = {key: value for key, value in merged.items() if value is not None}
        return sheet_of(data)


def sheet_of(data: Mapping) -> Sheet:
    """The Sheet of plain nested data, in the shape of the TOML form.

    Raises Faulty with every fault at once: which entry, which field, why, and what to try.
    """
    faults = Faults("")
    return sheet_of_draft(draft_of(data, faults), faults, NAMELESS)


def sheet_of_draft(draft: Draft, faults: Faults, name: str) -> Sheet:
    """The Sheet of a file taken apart. Raises Faulty with what is found here and in `faults`."""
    return Sheet(**check(draft, faults, name))
