"""Which entries can a batch sheet hold, and between which bounds?

What a person may write is a row of data/sheet/fields.csv and a field of the dataclass of its part, None where nothing was written. `low` and
`high` catch a typing error (a wrong unit, a shifted decimal). They are not limits of science or law; those live in the modules that use the value.
"""

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from kit import stages
from kit.errors import nearest
from kit.materials import Material
from kit.materials.composition import KINDS, SPECIES, rule_classes
from kit.sheet.amount import Amount
from kit.tables import read_rows

PARTS = ("batch", "line", "process", "cook", "weighing")
GRILL = "grill"
"""the kind of a cook step that comes after chill and peel, to serve"""
RESTING = "refrigerator"


@dataclass(frozen=True)
class Field:
    """One entry as a person writes it.

    `reads`: text, note (text of many lines), key, choice, quantity or amount. `needed`: every such
    entry must hold it.
    """

    name: str
    reads: str
    meaning: str
    unit: str
    low: float | None
    high: float | None
    choices: tuple[str, ...]
    needed: bool


class _Entry:
    """What the parts share: a name that is no field offers the nearest ones."""

    if not TYPE_CHECKING:

        def __getattr__(self, name):
            kind = type(self)
            known = [one.name for one in dataclasses.fields(kind)]
            raise AttributeError(
                f"a {kind.__name__} has no field {name!r}; nearest: {', '.join(nearest(name, known))}"
            )


@dataclass(frozen=True, kw_only=True)
class Line(_Entry):
    """One ingredient: amount as written, kilograms in this batch, and what it is made of. `listed_as`: what is written as its material."""

    kind: str = ""
    name: str
    listed_as: str | None = None
    amount: Amount
    kg: float
    material: Material
    species: str | None = None
    rule_class: str | None = None
    lean: str | None = None
    fat_low_pct: float | None = None
    fat_high_pct: float | None = None
    moisture_pct: float | None = None
    protein_pct: float | None = None
    fat_pct: float | None = None
    ash_pct: float | None = None
    carbohydrate_pct: float | None = None
    salt_pct: float | None = None
    starch_pct: float | None = None
    fibre_pct: float | None = None
    collagen_pct_of_protein: float | None = None
    composition: str | None = None
    nitrite_pct: float | None = None
    nitrate_pct: float | None = None
    bag_nitrite_pct: float | None = None
    cure_label_read: str | None = None
    form: str | None = None
    temperature_C: float | None = None
    pH: float | None = None
    price_per_kg: float | None = None
    stock_kg: float | None = None
    note: str | None = None

    @property
    def compound(self) -> str:
        """Accelerator or phosphate as named on the line or in the list of materials; else ''."""
        if self.kind not in ("accelerator", "phosphate"):
            return ""
        return self.form or self.material.name


@dataclass(frozen=True, kw_only=True)
class CookStep(_Entry):
    """One step of the cook, in order; the air's moisture as its wet bulb or its humidity."""

    kind: str
    duration_min: float
    dry_bulb_C: float
    air_low_C: float | None = None
    air_high_C: float | None = None
    wet_bulb_C: float | None = None
    rh_pct: float | None = None
    air_m_per_s: float | None = None
    note: str | None = None


@dataclass(frozen=True, kw_only=True)
class Weighing(_Entry):
    """What one stage weighed; a weight not taken is None."""

    stage: str
    in_kg: float | None = None
    out_kg: float | None = None
    additions_kg: float | None = None
    rework_in_kg: float | None = None
    rework_out_kg: float | None = None
    samples_kg: float | None = None
    scrap_kg: float | None = None
    giveaway_kg: float | None = None
    sd_kg: float | None = None
    note: str | None = None


@dataclass(frozen=True, kw_only=True)
class Process(_Entry):
    """How the batch is to be made."""

    chop_end_C: float | None = None
    chop_end_measured_C: float | None = None
    chop_min: float | None = None
    chop_energy_kJ_per_kg: float | None = None
    cutter: str | None = None
    grind_passes: float | None = None
    grind_plate_mm: float | None = None
    fat: str | None = None
    drop_um: float | None = None
    meat_pH: float | None = None
    casing: str | None = None
    stuffed_mm: float | None = None
    link_mm: float | None = None
    link_g: float | None = None
    portioned: str | None = None
    core_target_C: float | None = None
    core_probes: float | None = None
    probe_error_K: float | None = None
    core_measured_C: float | None = None
    core_held_min: float | None = None
    chill_medium: str | None = None
    chill_min: float | None = None
    peeled: str | None = None
    scale_step_g: float | None = None
    scale_sd_g: float | None = None
    nitrite_target_ppm: float | None = None
    nitrite_target_basis: str | None = None
    nitrite_target_as: str | None = None
    cure_rule: str | None = None
    pack_g: float | None = None
    cook_yield_pct: float | None = None
    fat_target_pct: float | None = None
    fat_target_basis: str | None = None
    batch_target_kg: float | None = None
    meat_scale_step_g: float | None = None
    cook: tuple[CookStep, ...] = ()

    @property
    def written_end_C(self) -> float | None:
        """Final chopping temperature as the sheet has it: measured before planned; None without either."""
        return self.chop_end_C if self.chop_end_measured_C is None else self.chop_end_measured_C

    @property
    def house(self) -> tuple[CookStep, ...]:
        """The steps of the cook itself, before the chill."""
        return tuple(one for one in self.cook if one.kind != GRILL)

    @property
    def finish(self) -> tuple[CookStep, ...]:
        """The steps on a grill, after chill and peel."""
        return tuple(one for one in self.cook if one.kind == GRILL)

    @property
    def rests(self) -> bool:
        """Uncovered in a refrigerator before the cook."""
        return bool(self.cook) and self.cook[0].kind == RESTING

    @property
    def is_peeled(self) -> bool:
        """As written, else where the casing is cellulose."""
        return self.casing == "cellulose" if self.peeled is None else self.peeled == "yes"


_CLASSES: dict[str, type] = {
    "line": Line,
    "process": Process,
    "cook": CookStep,
    "weighing": Weighing,
}
_KEPT_AS = {"material": "listed_as"}
"""an entry whose attribute has another name"""


@cache
def fields(part: str) -> dict[str, Field]:
    """The fields of 'batch', 'line', 'process', 'cook' or 'weighing', by name, in written order."""
    return {
        row["name"]: _field(row) for row in read_rows("sheet", "fields.csv") if row["part"] == part
    }


def _field(row: dict[str, str]) -> Field:
    """`choices` are named lists of the kit, or written out."""
    lists: dict[str, Callable[[], Iterable[str]]] = {
        "kinds": lambda: KINDS,
        "species": lambda: SPECIES,
        "rule classes": rule_classes,
        "stages": lambda: stages.STAGES,
        "jurisdictions": lambda: (law["jurisdiction"] for law in read_rows("rules", "cure.csv")),
    }
    listed = row["choices"]
    choices = lists[listed]() if listed in lists else filter(None, listed.split("|"))
    low, high = (float(row[end]) if row[end] else None for end in ("low", "high"))
    return Field(
        row["name"],
        row["reads"],
        row["meaning"],
        row["unit"],
        low,
        high,
        tuple(dict.fromkeys(choices)),
        row["needed"] == "yes",
    )


def made(part: str, values: dict, **more):
    """The dataclass of a part from checked values under their written names."""
    return _CLASSES[part](**{_KEPT_AS.get(name, name): v for name, v in values.items()}, **more)


def written(part: str, entry) -> dict[str, float | str]:
    """What a person wrote for one entry, blanks left out."""
    values = {name: getattr(entry, _KEPT_AS.get(name, name)) for name in fields(part)}
    plain = {k: v.written if isinstance(v, Amount) else v for k, v in values.items()}
    return {name: value for name, value in plain.items() if value is not None}
