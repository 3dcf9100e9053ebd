"""What is the mix made of? Every part of a mix is a sum of kilograms times shares, so one matrix product answers everything."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from kit.errors import OutOfRange, need_between
from kit.faults import need_said, said
from kit.materials import Material
from kit.materials.composition import GROUP_1, PARTS, SPECIES, rule_classes
from kit.working import Result, Step, notes_of, step, working_of

UNASSIGNED = "unassigned"
_SPECIES = (*SPECIES, UNASSIGNED)
COLUMNS = (
    "water",
    "protein",
    "fat",
    "ash",
    "carbohydrate",
    "unaccounted",
    "salt",
    "collagen",
    "collagen_known_protein",
    "group2_protein",
    "meat",
    "meat_fat",
    "added_water",
    *(f"protein {s}" for s in _SPECIES),
    *(f"fat {s}" for s in _SPECIES),
    *(f"class {c}" for c in rule_classes()),
)
AT = {name: n for n, name in enumerate(COLUMNS)}
_SCALARS = COLUMNS[: AT["added_water"] + 1]
COUNTED = tuple(
    dict.fromkeys(share for found in rule_classes().values() for share in found.counts_towards)
)


@dataclass(frozen=True, eq=False)
class Composition(Result):
    """What a mix is made of: the one description that every room takes.

    All in kg; each number is a float, or an array where many recipes were composed at once. `total_kg` is the weight now,
    `put_in_kg` the weight of everything put in: they differ after the cook. water + protein + fat + ash + carbohydrate +
    unaccounted make `total_kg` exactly. Salt is part of the ash, collagen
    of the protein: `collagen_kg` is known only for `collagen_known_protein_kg`. `water_kg` is all moisture, `added_water_kg` the
    water and ice put in.

    By species: `protein_by_species_kg`, `fat_by_species_kg`. By class in law: `class_kg`, and `counted_kg` by what law adds up. Line by line:
    `materials` and `kg`.
    """

    materials: tuple[Material, ...]
    kg: np.ndarray
    total_kg: float
    put_in_kg: float
    meat_kg: float
    meat_fat_kg: float
    water_kg: float
    protein_kg: float
    fat_kg: float
    ash_kg: float
    carbohydrate_kg: float
    unaccounted_kg: float
    salt_kg: float
    collagen_kg: float
    collagen_known_protein_kg: float
    group2_protein_kg: float
    added_water_kg: float
    protein_by_species_kg: dict[str, float]
    fat_by_species_kg: dict[str, float]
    class_kg: dict[str, float]
    cook_yield_pct: float = 100.0
    raw: "Composition | None" = None

    def pct(self, part: str):
        """'water', 'protein', 'fat', 'ash', 'carbohydrate', 'unaccounted', 'salt' or 'group2_protein' as a percentage of the weight now."""
        return 100 * getattr(self, f"{part}_kg") / self.total_kg

    water_pct = property(lambda self: self.pct("water"))
    protein_pct = property(lambda self: self.pct("protein"))
    fat_pct = property(lambda self: self.pct("fat"))
    ash_pct = property(lambda self: self.pct("ash"))
    carbohydrate_pct = property(lambda self: self.pct("carbohydrate"))
    unaccounted_pct = property(lambda self: self.pct("unaccounted"))
    salt_pct = property(lambda self: self.pct("salt"))
    group2_protein_pct = property(lambda self: self.pct("group2_protein"))

    @property
    def collagen_pct_of_protein(self):
        """Collagen share of the protein whose collagen share is published; not a number where none is."""
        return 100 * _over(self.collagen_kg, self.collagen_known_protein_kg, np.nan)

    @property
    def moisture_to_protein(self):
        return _over(self.water_kg, self.protein_kg, np.nan)

    @cached_property
    def counted_kg(self) -> dict[str, float]:
        """Kilograms put in by what law adds up, such as 'meat_portion', 'poultry' or 'binder' (`counts_towards` of data/rules/classes.csv)."""
        return {
            share: sum(
                kg
                for name, kg in self.class_kg.items()
                if share in rule_classes()[name].counts_towards
            )
            for share in COUNTED
        }

    def parts_kg(self, cook_yield_pct=100.0) -> dict[str, Any]:
        """The kilograms that a `Quantity` weighs, by name, before the cook; `finished` and `finished_water` after a loss taken as water."""
        need_said(self.raw is None, "cooked for its parts")
        unknown = np.asarray(self.protein_kg - self.collagen_known_protein_kg) > 1e-9 * np.asarray(
            self.protein_kg
        )
        finished = self.total_kg * cook_yield_pct / 100
        names = ("total", "water", "protein", "group2_protein", "fat", "salt")
        return {
            **{name: getattr(self, f"{name}_kg") for name in names},
            "collagen": self.collagen_kg + np.where(unknown, np.nan, 0.0),
            **self.counted_kg,
            "finished": finished,
            "finished_water": self.water_kg - (self.total_kg - finished),
        }

    @cached_property
    def notes(self) -> tuple[str, ...]:
        return tuple(_notes(self))

    @cached_property
    def sources(self) -> tuple[str, ...]:
        used = (m for n, m in enumerate(self.materials) if np.any(self.kg[..., n] > 0))
        return tuple(dict.fromkeys(m.cite() for m in used))

    @cached_property
    def working(self) -> tuple[Step, ...]:
        """Steps for one recipe; empty for many at once."""
        if self.kg.ndim > 1:
            return ()
        if self.raw is None:
            return _steps_of_mix(self)
        return (*self.raw.working, *_steps_of_cook(self, self.raw))


def compose(materials: Sequence[Material], kg, fat_pct=None) -> Composition:
    """What these amounts of these materials make together.

    materials: k materials as bought
    kg: weight of each, kg, 0 or more: shape (k,) for one recipe, (..., k) for many
    fat_pct: fat that the materials turned out to have, %, in the shape of `kg`; the other parts move along each species' lean line
    Returns Composition: kg by part, class in law and species. A sheet's own is `sheet.composition`.
    Raises OutOfRange for a weight that is negative or no number, and a bowl with nothing in it.
    Valid as sums of published shares: no loss, no mixing effect.
    Source: data/materials.csv.
    """
    materials = tuple(materials)
    kg = np.asarray(kg, dtype=float)
    count, shape = len(materials), kg.shape
    need_said(shape[-1:] == (count,), "weights for materials", materials=count, shape=shape)
    if not (kg >= 0).all() or not np.isfinite(kg).all():
        bad = np.argwhere(~(np.isfinite(kg) & (kg >= 0)))[0]
        raise OutOfRange(said("impossible weight", name=materials[bad[-1]].name, kg=kg[tuple(bad)]))
    need_said(bool((kg.sum(axis=-1) > 0).all()), "empty bowl")
    return _composition(materials, kg, fat_pct)


def cooked(composition: Composition, cook_yield_pct: float) -> Composition:
    """The mix after a cook that leaves `cook_yield_pct` of its weight. The loss is water: salt, protein, fat and all else stay.

    Refused: a yield over 100, and a loss greater than the water there is.
    """
    need_said(composition.raw is None, "cooked already")
    why = "a cooked product cannot weigh more than its batter"
    y = need_between("cook yield in percent", cook_yield_pct, 1, 100, why)
    raw_kg = composition.total_kg
    finished_kg = raw_kg * y / 100
    water_kg = composition.water_kg - (raw_kg - finished_kg)
    need_said(bool(np.all(water_kg >= -1e-9 * raw_kg)), "more water than there is", y=y)
    return replace(
        composition, total_kg=finished_kg, water_kg=water_kg, cook_yield_pct=y, raw=composition
    )


def _steps_of_mix(made: Composition) -> tuple[Step, ...]:
    """How weight and shares of a mix came about, for a pencil."""
    used = [
        (n, m, float(made.kg[n - 1])) for n, m in enumerate(made.materials, 1) if made.kg[n - 1] > 0
    ]
    weights: dict[str, Any] = {f"m{n}": (kg, "kg", m.name) for n, m, kg in used}
    total = made.total_kg
    steps = [step("Everything in the bowl", f"M = {' + '.join(weights)}", total, "kg", **weights)]
    for symbol, what, part, answer in (
        ("W", "Water", "moisture", made.water_pct),
        ("P", "Protein", "protein", made.protein_pct),
        ("F", "Fat", "fat", made.fat_pct),
    ):
        low = symbol.lower()
        held = {n: (getattr(m, f"{part}_pct"), m.name) for n, m, _ in used}
        held = {n: pair for n, pair in held.items() if pair[0]}
        terms: dict[str, Any] = {f"m{n}": weights[f"m{n}"] for n in held}
        terms |= {f"{low}{n}": (pct, "%", f"{part} of {name}") for n, (pct, name) in held.items()}
        sums = " + ".join(f"m{n} × {low}{n}" for n in held) or "0"
        terms["M"] = (total, "kg", "everything in the bowl")
        steps.append(step(f"{what} of the mix", f"{symbol} = ({sums}) / M", answer, "%", **terms))
    if made.protein_kg:
        water, protein = (made.water_pct, "%"), (made.protein_pct, "%")
        ratio = made.moisture_to_protein
        steps.append(step("Moisture to protein", "R = W / P", ratio, W=water, P=protein))
    return tuple(steps)


def _steps_of_cook(made: Composition, raw: Composition) -> tuple[Step, ...]:
    """How the shares changed in the cook."""
    raw_kg, finished_kg = raw.total_kg, made.total_kg
    before = {"W": raw.water_pct, "P": raw.protein_pct, "F": raw.fat_pct, "Y": made.cook_yield_pct}
    after = {"w": made.water_pct, "p": made.protein_pct, "f": made.fat_pct}
    lost_kg = raw_kg - finished_kg
    return working_of("cooked mix", M=raw_kg, A=finished_kg, L=lost_kg, **before, **after)


@lru_cache(maxsize=512)
def _table(materials: tuple[Material, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Shares per kg, their slopes per point of fat, and the fat as it stands."""
    shares, slopes = (
        np.array([_row(m, *pair) for m in materials]).reshape(len(materials), len(COLUMNS))
        for pair in ((False,), (True,))
    )
    return shares, slopes, np.array([m.fat_pct for m in materials])


@lru_cache(maxsize=4096)
def _row(m: Material, slope: bool) -> np.ndarray:
    """One material's COLUMNS per kg; with `slope`, what one point of fat adds to them."""
    parts = [m.per_fat[part] if slope else getattr(m, f"{part}_pct") for part in PARTS]
    moisture, protein, fat, ash, carbohydrate = (part / 100 for part in parts)
    row = np.zeros(len(COLUMNS))
    row[:6] = moisture, protein, fat, ash, carbohydrate, (0 if slope else 1) - sum(parts) / 100
    known = m.collagen_pct_of_protein
    may_hold = m.rule_class in GROUP_1 or m.rule_class == "other"
    if known is None and not (m.kind in ("meat", "rework", "other") and may_hold):
        known = 0.0  # no collagen in milk, soy, starch, spice or salt
    if known is not None:
        row[AT["collagen"]], row[AT["collagen_known_protein"]] = protein * known / 100, protein
    if m.rule_class not in GROUP_1:
        row[AT["group2_protein"]] = protein
    row[AT[f"protein {m.species or UNASSIGNED}"]], row[AT[f"fat {m.species or UNASSIGNED}"]] = (
        protein,
        fat,
    )
    if m.kind == "meat":
        row[AT["meat_fat"]] = fat
    if not slope:
        row[AT["salt"]] = m.salt_pct / 100
        row[AT["meat"]] = m.kind == "meat"
        row[AT["added_water"]] = m.kind in ("water", "ice")
        row[AT[f"class {m.rule_class}"]] = 1
    return row


def _composition(materials: tuple[Material, ...], kg: np.ndarray, fat_pct=None) -> Composition:
    """The sums, whatever the weights are."""
    shares, slopes, fat = _table(materials)
    amounts = kg @ shares
    if fat_pct is not None:
        amounts = amounts + (kg * (np.asarray(fat_pct, float) - fat)) @ slopes
    cells = amounts.tolist() if kg.ndim == 1 else list(np.moveaxis(amounts, -1, 0))
    found = dict(zip(COLUMNS, cells))
    total = sum(kg.tolist()) if kg.ndim == 1 else kg.sum(axis=-1)
    present = {m.rule_class for m in materials}
    species = {m.species or UNASSIGNED for m in materials}
    return Composition(
        materials,
        kg,
        total,
        total,
        **{f"{name}_kg": found[name] for name in _SCALARS},
        protein_by_species_kg={s: found[f"protein {s}"] for s in _SPECIES if s in species},
        fat_by_species_kg={s: found[f"fat {s}"] for s in _SPECIES if s in species},
        class_kg={name: found[f"class {name}"] for name in rule_classes() if name in present},
    )


def _notes(made: Composition):
    share = np.max(np.abs(made.unaccounted_kg / made.put_in_kg)) * 100
    known = 100 * np.min(_over(made.collagen_known_protein_kg, made.protein_kg, 0.0))
    holds = {
        "unaccounted": share > 1,
        "collagen": known < 99,
        "rework": np.any(made.class_kg.get("rework", 0.0) > 0),
    }
    yield from notes_of("mix", holds, share=share, known=known)
    for n, m in enumerate(made.materials):
        if "extrapolation" in m.note and np.any(made.kg[..., n] > 0):
            yield f"{m.name}: {m.note}"


def _over(part, whole, of_nothing: float):
    """part / whole; `of_nothing` where there is no whole."""
    if isinstance(whole, float):
        return part / whole if whole else of_nothing
    return np.divide(part, whole, out=np.full_like(whole, of_nothing), where=whole != 0)
