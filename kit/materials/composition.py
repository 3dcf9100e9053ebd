"""What can go in the bowl, and what is it made of?

A `Material` is one thing as bought: moisture, protein, fat, ash and carbohydrate in percent, and what a rule calls it.
`material(name)` gives a row of data/materials.csv. A person's own meat comes in by lean ratio (`by_lean_ratio("80/20", "pork")`),
by laboratory values (`by_lab`), or by eye (`by_eye`, fat between two bounds).

Figures are kept as published: no row is rescaled to add up to 100. What is missing or too much is the material's own
`unaccounted_pct`, so that every mix closes to exactly 100 with that part in plain sight.

Within one species, fat displaces lean: moisture, protein and ash fall along a straight line as fat rises. `LeanLine` holds
that line, fitted to published rows; it gives the composition of a meat known only by its fat, and carries an uncertainty of
the fat over to everything else.
"""

from dataclasses import dataclass, replace
from functools import cache, lru_cache
from statistics import NormalDist
from typing import Any

from kit.errors import UnknownName, UnknownStrength, need, need_between, need_known
from kit.faults import need_said
from kit.materials.words import cure_word, search, which_strength
from kit.tables import Cited, cite, read_rows, value

KINDS = (
    "meat",
    "water",
    "ice",
    "binder",
    "salt",
    "cure",
    "accelerator",
    "phosphate",
    "spice",
    "sugar",
    "rework",
    "other",
)
SPECIES = ("beef", "pork", "chicken", "turkey")
PARTS = ("moisture", "protein", "fat", "ash", "carbohydrate")
# a 90 % range of a normal lies this many standard deviations either side of the middle
SDS_TO_90 = NormalDist().inv_cdf(0.95)


@dataclass(frozen=True, kw_only=True)
class RuleClass(Cited):
    """What law calls an ingredient. `protein_group`: 1 or 2 of 9 CFR 318.22; `counts_towards`: shares of the bowl that it is part of, besides total, water,
    protein and fat."""

    name: str
    protein_group: int
    counts_towards: tuple[str, ...]
    meaning: str


@lru_cache(maxsize=1)
def rule_classes() -> dict[str, RuleClass]:
    """Every row of data/rules/classes.csv, by name: the one list of what an ingredient can be in law."""
    found = {}
    for row in read_rows("rules", "classes.csv"):
        name, group = row.pop("rule_class"), int(row.pop("protein_group"))
        towards = tuple(filter(None, row.pop("counts_towards").split("|")))
        found[name] = RuleClass(name=name, protein_group=group, counts_towards=towards, **row)
    return found


GROUP_1 = frozenset(name for name, found in rule_classes().items() if found.protein_group == 1)
"""Classes whose protein is Group 1 of 9 CFR 318.22; every other protein is Group 2."""


@dataclass(frozen=True)
class Material:
    """One ingredient as bought. Percentages are of its own weight; `salt_pct` (NaCl) is contained in `ash_pct`, `starch_pct` and `fibre_pct` (None: not known) in
    `carbohydrate_pct`.

    `fat_low_pct` and `fat_high_pct`
    hold the 90 % interval of the fat; None means that fat is taken as exact.
    """

    name: str
    kind: str
    species: str
    rule_class: str
    moisture_pct: float
    protein_pct: float
    fat_pct: float
    ash_pct: float
    carbohydrate_pct: float
    salt_pct: float = 0.0
    collagen_pct_of_protein: float | None = None
    fat_low_pct: float | None = None
    fat_high_pct: float | None = None
    source: str = ""
    where: str = ""
    status: str = ""
    note: str = ""
    starch_pct: float | None = None
    fibre_pct: float | None = None

    def __post_init__(self):
        need_known("kind", self.kind, KINDS)
        need_known("rule class", self.rule_class, rule_classes())
        if self.species:
            need_known("species", self.species, SPECIES)
        for part in (*PARTS, "salt"):
            need_between(f"{part} of {self.name} in percent", getattr(self, f"{part}_pct"), 0, 100)
        for field in _MAYBE:
            if getattr(self, field) is not None:
                need_between(f"{field} of {self.name}", getattr(self, field), 0, 100)
        low, high = value("composition_sum_low"), value("composition_sum_high")
        need_between(
            f"moisture + protein + fat + ash + carbohydrate of {self.name}",
            100 - self.unaccounted_pct,
            low,
            high,
            "check for a swapped column or a figure on another basis (dry matter, fat free)",
        )
        need_said(self.salt_pct <= self.ash_pct + 1e-9, "more salt than ash", it=self)
        part_pct = (self.starch_pct or 0.0) + (self.fibre_pct or 0.0)
        need_said(
            part_pct <= self.carbohydrate_pct + 1e-9,
            "more starch than carbohydrate",
            it=self,
            part_pct=part_pct,
        )
        _check_uncertainty(self)

    @property
    def unaccounted_pct(self) -> float:
        """100 less the five published parts: assay scatter, rounding, or parts the source does not print. May be negative."""
        return 100 - sum(getattr(self, f"{part}_pct") for part in PARTS)

    @property
    def fat_sd_pct(self) -> float:
        """Standard uncertainty of the fat, a 90 % interval read as a normal; 0 where fat is taken as exact."""
        if self.fat_low_pct is None or self.fat_high_pct is None:
            return 0.0
        return (self.fat_high_pct - self.fat_low_pct) / (2 * SDS_TO_90)

    @property
    def per_fat(self) -> dict[str, float]:
        """What one point of fat does to each of PARTS, along the species' lean line."""
        slopes = lean_line(self.species).per_fat if self.species else {}
        return dict.fromkeys(PARTS, 0.0) | {"fat": 1.0} | slopes

    def at_fat(self, fat_pct: float) -> "Material":
        """The same material if its fat were `fat_pct`: the other parts move along the lean line; no uncertainty is left."""
        moved = {
            f"{part}_pct": getattr(self, f"{part}_pct") + slope * (fat_pct - self.fat_pct)
            for part, slope in self.per_fat.items()
        }
        return replace(self, **moved, fat_low_pct=None, fat_high_pct=None)

    def cite(self) -> str:
        """Where the composition comes from, in one line."""
        given = f"{self.name}: given by the user"
        return cite(self.source, self.where, self.status) if self.source else given


@dataclass(frozen=True)
class LeanLine:
    """Moisture, protein and ash of one species' meat as straight lines in fat, all in percent of the meat.

    Fitted between `fat_tested_low_pct` and `fat_tested_high_pct`; followed with a note as far as `fat_limit_pct`.
    """

    species: str
    at_no_fat: dict[str, float]
    per_fat: dict[str, float]
    fat_tested_low_pct: float
    fat_tested_high_pct: float
    fat_limit_pct: float

    def pct(self, part: str, fat_pct):
        """Moisture, protein or ash at this fat (float or array)."""
        return self.at_no_fat[part] + self.per_fat[part] * fat_pct

    def note(self, fat_low_pct: float, fat_high_pct: float) -> str:
        """A caution where the fat lies outside what the line was fitted to; '' inside."""
        if fat_low_pct >= self.fat_tested_low_pct and fat_high_pct <= self.fat_tested_high_pct:
            return ""
        return (
            f"The {self.species} lean line was fitted between {self.fat_tested_low_pct:g} and {self.fat_tested_high_pct:g} % fat; "
            "outside that it is an extrapolation"
        )


@cache
def lean_line(species: str) -> LeanLine:
    """The lean line of 'beef', 'pork', 'chicken' or 'turkey'."""
    need_known("species", species, SPECIES)
    starts, slopes = (
        {
            part: value(f"lean_line_{species}_{part}_{end}")
            for part in ("moisture", "protein", "ash")
        }
        for end in ("at_no_fat", "per_fat")
    )
    ends = ("tested_low_pct", "tested_high_pct", "limit_pct")
    return LeanLine(species, starts, slopes, *(value(f"lean_line_{species}_fat_{e}") for e in ends))


@lru_cache(maxsize=1)
def materials() -> dict[str, Material]:
    """Every row of data/materials.csv, by name. Ash left blank for a meat is taken from its lean line and the note says so."""
    return {row["name"]: _from_row(row) for row in read_rows("materials.csv")}


def material(name: str) -> Material:
    """The material of that name.

    name: as in data/materials.csv; case and outer spaces do not matter
    Returns Material: shares in %, with source and status.
    Raises UnknownName with the nearest three; UnknownStrength for a trade word for cure.
    Source: data/materials.csv, named in each row.
    """
    try:
        return materials()[name.strip().lower()]
    except KeyError:
        need(cure_word(name) is None, which_strength(name), UnknownStrength)
        found = dict.fromkeys(word.material for word in search(name))
        raise UnknownName("material", name, found or offered()) from None


def offered() -> tuple[str, ...]:
    """The names that a typing error may be answered with: neither a cure nor the salt that one could be taken for."""
    return tuple(name for name, row in materials().items() if row.kind not in ("cure", "salt"))


_TEXTS = ("name", "kind", "species", "rule_class", "source", "where", "status", "note")
_MAYBE = ("collagen_pct_of_protein", "starch_pct", "fibre_pct")


def _from_row(row: dict[str, str]) -> Material:
    given: dict[str, Any] = {key: row[key] for key in _TEXTS}
    given |= {f"{part}_pct": float(row[f"{part}_pct"] or 0) for part in (*PARTS, "salt")}
    given |= {key: float(row[key]) if row[key] else None for key in _MAYBE}
    if not row["ash_pct"] and row["species"]:
        given["ash_pct"] = max(lean_line(row["species"]).pct("ash", given["fat_pct"]), 0.0)
    return Material(**given)


def _check_uncertainty(made: Material) -> None:
    low, high = made.fat_low_pct, made.fat_high_pct
    if low is None or high is None:
        need(low is high, f"{made.name} has one bound of fat only; give both, or neither")
        return
    need_said(bool(made.species), "uncertain of no species", made=made, species=", ".join(SPECIES))
    need_said(0 <= low <= made.fat_pct <= high <= 100, "fat outside its bounds", made=made)
