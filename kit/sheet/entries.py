"""Which entries can a batch sheet hold, and between which bounds?

Each part of a sheet is a frozen dataclass; what a person may write is a field of it, None where
nothing was written. `low` and `high` catch a typing error (a wrong unit, a shifted decimal).
They are not limits of science or law; those live in the modules that use the value.
"""

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from kit import stages
from kit.errors import nearest
from kit.materials import Material
from kit.materials.composition import KINDS, SPECIES, rule_classes
from kit.sheet.amount import LEAST_KG, MOST_KG, Amount
from kit.sheet.choices import CASINGS, COMPOUNDS, COOK_KINDS, CUTTERS, GRILL, PORTIONED, RESTING
from kit.tables import read_rows

PARTS = ("batch", "line", "process", "cook", "weighing")


@dataclass(frozen=True)
class Field:
    """One entry as a person writes it.

    `reads`: text, note (text of many lines), key, choice, quantity or amount. `needed`: every such
    entry must hold it.
    """

    name: str
    reads: str
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    needed: bool = False


def _entry(reads: str, meaning: str, *, needed: bool = False, default: Any = None, **more) -> Any:
    about = {"reads": reads, "meaning": meaning, "needed": needed, **more}
    if needed:
        return dataclasses.field(metadata=about)
    return dataclasses.field(default=default, metadata=about)


def _text(meaning: str, **more) -> Any:
    return _entry("text", meaning, **more)


def _note() -> Any:
    return _entry("note", "anything worth keeping")


def _choice(choices: tuple[str, ...] | Callable[[], tuple[str, ...]], meaning: str, **more) -> Any:
    return _entry("choice", meaning, choices=choices, **more)


def _quantity(unit: str, low: float, high: float, meaning: str, **more) -> Any:
    return _entry("quantity", meaning, unit=unit, low=low, high=high, **more)


def _pct(meaning: str) -> Any:
    return _quantity("%", 0, 100, meaning)


def _jurisdictions() -> tuple[str, ...]:
    return tuple(dict.fromkeys(row["jurisdiction"] for row in read_rows("rules", "cure.csv")))


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
    """One ingredient: amount as written, kilograms in this batch, and what it is made of."""

    kind: str = _choice(
        KINDS,
        "what the ingredient does; taken from the list of materials where left out",
        default="",
    )
    name: str = _text("what this line is called; once per sheet", needed=True)
    listed_as: str | None = _text(
        "name in the list of materials, where the line's own name is another", written="material"
    )
    amount: Amount = _entry(
        "amount",
        "a mass, or a share with its basis: '25 kg', '2 % of meat', '1.8 % of batch', '547 ppm of meat'",
        unit="kg",
        low=LEAST_KG,
        high=MOST_KG,
        needed=True,
    )
    kg: float
    material: Material
    species: str | None = _choice(SPECIES, "species, for an own meat")
    rule_class: str | None = _choice(
        lambda: tuple(rule_classes()), "what the rule book calls it, for an own material"
    )
    lean: str | None = _text("own meat by its lean ratio: '80/20', '90CL', '85 % lean'")
    fat_low_pct: float | None = _pct("own meat by eye: fat is hardly below this (90 % range)")
    fat_high_pct: float | None = _pct("own meat by eye: fat is hardly above this (90 % range)")
    moisture_pct: float | None = _pct("own material by laboratory values: moisture")
    protein_pct: float | None = _pct("own material by laboratory values: protein")
    fat_pct: float | None = _pct("own material by laboratory values: fat")
    ash_pct: float | None = _pct("own material by laboratory values: ash")
    carbohydrate_pct: float | None = _pct("own material by laboratory values: carbohydrate")
    salt_pct: float | None = _pct("own material by laboratory values: salt, contained in the ash")
    starch_pct: float | None = _pct("starch, contained in the carbohydrate")
    fibre_pct: float | None = _pct("fibre, contained in the carbohydrate")
    collagen_pct_of_protein: float | None = _pct("own material: collagen as a share of its protein")
    composition: str | None = _choice(("same recipe",), "rework of this same recipe")
    nitrite_pct: float | None = _pct("cure: sodium nitrite on the label")
    nitrate_pct: float | None = _pct("cure: sodium nitrate on the label")
    bag_nitrite_pct: float | None = _pct(
        "cure: sodium nitrite as read off the bag at the bench, by the person who weighs"
    )
    cure_label_read: str | None = _choice(
        ("yes", "no"),
        "spice blend or other line: was its label read for cure, celery or nitrite?",
    )
    form: str | None = _choice(COMPOUNDS, "accelerator or phosphate: which compound")
    temperature_C: float | None = _quantity("°C", -60, 100, "temperature on going into the bowl")
    pH: float | None = _quantity("", 3, 10, "pH, if known")
    price_per_kg: float | None = _quantity("1/kg", 0, 100_000, "your own price")
    stock_kg: float | None = _quantity("kg", 0, 1_000_000, "stock on hand")
    note: str | None = _note()

    @property
    def compound(self) -> str:
        """Accelerator or phosphate as named on the line or in the list of materials; else ''."""
        if self.kind not in ("accelerator", "phosphate"):
            return ""
        return self.form or self.material.name


@dataclass(frozen=True, kw_only=True)
class CookStep(_Entry):
    """One step of the cook, in order; the air's moisture as its wet bulb or its humidity."""

    kind: str = _choice(
        COOK_KINDS,
        "what the step does; a refrigerator is a rest uncovered, before or after the cook; a grill finishes the cooked, chilled and peeled link",
        needed=True,
    )
    duration_min: float = _quantity("min", 0.1, 2880, "how long", needed=True)
    dry_bulb_C: float = _quantity(
        "°C", -10, 300, "temperature of the air, steam or water", needed=True
    )
    air_low_C: float | None = _quantity(
        "°C", -10, 200, "covered cooker: the air is hardly below this (mean over the step)"
    )
    air_high_C: float | None = _quantity(
        "°C", -10, 200, "covered cooker: the air is hardly above this (mean over the step)"
    )
    wet_bulb_C: float | None = _quantity("°C", -10, 100, "wet bulb of the air; or give rh_pct")
    rh_pct: float | None = _pct("relative humidity of the air; or give wet_bulb_C")
    air_m_per_s: float | None = _quantity("m/s", 0, 30, "air or water speed past the links")
    note: str | None = _note()


@dataclass(frozen=True, kw_only=True)
class Weighing(_Entry):
    """What one stage weighed; a weight not taken is None."""

    stage: str = _choice(tuple(stages.STAGES), "stage of the trade", needed=True)
    in_kg: float | None = _quantity("kg", 1e-6, 1_000_000, "weight got from the stage before")
    out_kg: float | None = _quantity("kg", 0, 1_000_000, "weight passed on")
    additions_kg: float | None = _quantity(
        "kg", 0, 1_000_000, "what was added at this stage, such as ice and dry goods at chop"
    )
    rework_in_kg: float | None = _quantity("kg", 0, 1_000_000, "rework put in at this stage")
    rework_out_kg: float | None = _quantity(
        "kg", 0, 1_000_000, "taken out at this stage to be worked again"
    )
    samples_kg: float | None = _quantity("kg", 0, 1_000_000, "samples taken")
    scrap_kg: float | None = _quantity("kg", 0, 1_000_000, "scrap weighed and thrown away")
    giveaway_kg: float | None = _quantity(
        "kg", -1_000_000, 1_000_000, "at pack: net weight above the weight on the labels"
    )
    sd_kg: float | None = _quantity(
        "kg", 1e-6, 1000, "uncertainty of the scale, one standard deviation"
    )
    note: str | None = _note()


@dataclass(frozen=True, kw_only=True)
class Process(_Entry):
    """How the batch is to be made."""

    chop_end_C: float | None = _quantity(
        "°C",
        -10,
        30,
        "planned final chopping temperature: batter temperature when the machine stops",
    )
    chop_end_measured_C: float | None = _quantity(
        "°C",
        -10,
        35,
        "measured final chopping temperature: takes precedence over the planned one",
    )
    chop_min: float | None = _quantity("min", 0.1, 120, "chopping time")
    chop_energy_kJ_per_kg: float | None = _quantity(
        "kJ/kg", 0, 500, "mechanical energy put into the batter"
    )
    cutter: str | None = _choice(CUTTERS, "machine that makes the batter")
    grind_passes: float | None = _quantity(
        "", 1, 10, "how often the meat goes through the grinder; usually 1 to 3"
    )
    grind_plate_mm: float | None = _quantity(
        "mm", 1, 30, "hole of the last grinder plate; usually 3 to 8 mm"
    )
    fat: str | None = _choice(
        ("pork back", "soft pork", "beef", "poultry", "oil"), "the fat that has to be held"
    )
    drop_um: float | None = _quantity(
        "um", 0.1, 2000, "fat globule size (volume to surface mean diameter)"
    )
    meat_pH: float | None = _quantity("", 4.5, 7.5, "pH of the meat block")
    casing: str | None = _choice(CASINGS, "kind of casing")
    stuffed_mm: float | None = _quantity("mm", 8, 250, "stuffed diameter")
    link_mm: float | None = _quantity("mm", 20, 2000, "link length, stuffed")
    link_g: float | None = _quantity("g", 2, 20_000, "link weight, raw")
    portioned: str | None = _choice(
        PORTIONED, "what the links are portioned by: how far lengths and weights scatter"
    )
    core_target_C: float | None = _quantity("°C", 40, 100, "core temperature at which cooking ends")
    core_probes: float | None = _quantity(
        "", 1, 50, "links with a core probe in them during the cook; usually 1 in a kitchen"
    )
    probe_error_K: float | None = _quantity(
        "K", 0, 10, "error of the core probe; usually 0.5 to 2 K, checked in melting ice"
    )
    core_measured_C: float | None = _quantity(
        "°C", 40, 100, "measured core temperature, of the coldest link probed"
    )
    core_held_min: float | None = _quantity(
        "min",
        0,
        1440,
        "measured: how long that core stayed at core_measured_C or above, unbroken; usually 0 to 15 min",
    )
    chill_medium: str | None = _choice(
        ("shower", "brine", "ice water", "cold air"), "what cools the links"
    )
    chill_min: float | None = _quantity("min", 0, 2880, "chilling time")
    peeled: str | None = _choice(
        ("yes", "no"),
        "is the casing taken off before packing or serving? cellulose is, if left out",
    )
    scale_step_g: float | None = _quantity(
        "g", 0.0001, 10_000, "smallest step the ingredient scale shows"
    )
    scale_sd_g: float | None = _quantity(
        "g", 0, 10_000, "repeatability of the ingredient scale, one standard deviation"
    )
    nitrite_target_ppm: float | None = _quantity(
        "ppm",
        0,
        10_000,
        "what the nitrite is meant to be; a dosing error inside the allowed range shows only beside it",
    )
    nitrite_target_basis: str | None = _choice(
        ("meat", "batch", "finished"),
        "basis of the target; of the meat where left out",
    )
    nitrite_target_as: str | None = _choice(
        ("NaNO2", "KNO2", "NO2"), "as which substance the target counts; as NaNO2 where left out"
    )
    cure_rule: str | None = _choice(
        _jurisdictions, "whose limits the cure is held against; US where left out"
    )
    pack_g: float | None = _quantity("g", 5, 50_000, "declared weight of a pack")
    cook_yield_pct: float | None = _quantity(
        "%", 40, 110, "expected cook yield: cooked and chilled weight of 100 raw"
    )
    fat_target_pct: float | None = _quantity(
        "%", 0, 95, "fat that is wanted; the meats on hand are then shared out to meet it"
    )
    fat_target_basis: str | None = _choice(
        ("finished", "batch", "meat"),
        "basis of the wanted fat; of the finished product where left out",
    )
    batch_target_kg: float | None = _quantity(
        "kg", 0.01, 100_000, "raw batter that is wanted; as much as the meats give where left out"
    )
    meat_scale_step_g: float | None = _quantity(
        "g",
        0.1,
        10_000,
        "smallest step of the scale for meat and ice; that of the ingredient scale, at least 1 g, where left out",
    )
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


_BATCH = (
    Field("name", "text", "what this batch is called; the file's name where left out"),
    Field("rule", "key", "key of the rule set the product is held against"),
    Field("currency", "text", "currency of the prices"),
    Field(
        "decimal",
        "choice",
        "the decimal sign of this file; a point unless said otherwise",
        choices=(".", ","),
    ),
    Field("note", "note", "anything worth keeping"),
)
_CLASSES: dict[str, type] = {
    "line": Line,
    "process": Process,
    "cook": CookStep,
    "weighing": Weighing,
}


@cache
def attributes(part: str) -> dict[str, str]:
    """{entry as a person writes it: attribute of the dataclass} of a part, in written order."""
    return {
        one.metadata.get("written", one.name): one.name
        for one in dataclasses.fields(_CLASSES[part])
        if "reads" in one.metadata
    }


@cache
def fields(part: str) -> dict[str, Field]:
    """The fields of 'batch', 'line', 'process', 'cook' or 'weighing', by name."""
    if part == "batch":
        return {one.name: one for one in _BATCH}
    about = {one.name: one.metadata for one in dataclasses.fields(_CLASSES[part])}
    return {name: _field(name, about[at]) for name, at in attributes(part).items()}


def _field(name: str, about) -> Field:
    known = {key: value for key, value in about.items() if key != "written"}
    if callable(known.get("choices")):
        known["choices"] = known["choices"]()
    return Field(name, **known)


def made(part: str, values: dict, **more):
    """The dataclass of a part from checked values under their written names."""
    at = attributes(part)
    return _CLASSES[part](**{at[name]: value for name, value in values.items()}, **more)


def written(part: str, entry) -> dict[str, float | str]:
    """What a person wrote for one entry, blanks left out."""
    values = {name: getattr(entry, at) for name, at in attributes(part).items()}
    plain = {k: v.written if isinstance(v, Amount) else v for k, v in values.items()}
    return {name: value for name, value in plain.items() if value is not None}
