"""From a sheet to the batter that the emulsion room asks for, and what that room says of it."""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from kit import tables
from kit.chain.chop import bowl_of
from kit.chain.mend import mended
from kit.emulsion import (
    Batter,
    Calibration,
    Held,
    Parameters,
    Remedies,
    Spread,
    cloud,
    hold,
    spread,
)
from kit.emulsion.batter import possible
from kit.emulsion.saved import as_toml
from kit.errors import need
from kit.sheet import Line, Sheet
from kit.working import Step, step

DRAWS, SEED = 2000, 4
COLDEST_C = possible("end_C")[0]
POULTRY = ("chicken", "turkey")


@dataclass(frozen=True)
class Described:
    """A batter read off a sheet; `assumed` says what the sheet did not."""

    batter: Batter
    assumed: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


@dataclass(frozen=True)
class Holds:
    """What the emulsion room says of one sheet. Grams of 100 g raw batter are percent of the batter's weight; `batch_kg` makes kilograms of them."""

    name: str
    batch_kg: float
    described: Described
    held: Held
    spread: Spread
    remedies: Remedies | None
    notes: tuple[str, ...]

    @property
    def batter(self) -> Batter:
        return self.held.batter

    @property
    def fails_first(self) -> str:
        """The limit with the smallest margin, whether or not it lies past its edge."""
        return self.held.fails_first

    @property
    def below_edge(self) -> tuple[str, ...]:
        """The limits whose margin lies below 0."""
        return tuple(limit for limit, margin in self.held.margins.items() if margin < 0)

    @property
    def sources(self) -> tuple[str, ...]:
        return tuple(
            dict.fromkeys(
                (
                    *self.described.sources,
                    *self.held.sources,
                    *(self.remedies.sources if self.remedies else ()),
                )
            )
        )

    @property
    def working(self) -> tuple[Step, ...]:
        return (*self.described.working, *self.held.working)

    def kg(self, grams_of_100: float) -> float:
        """Grams of 100 g raw batter as kilograms of this batch."""
        return self.batch_kg * float(grams_of_100) / 100


def batter_of(
    sheet: Sheet, end_C: float | None = None, core_C: float | None = None, **known
) -> Batter:
    """The sheet as 100 g of raw batter. See `described`."""
    return described(sheet, end_C, core_C, **known).batter


def described(
    sheet: Sheet, end_C: float | None = None, core_C: float | None = None, **known
) -> Described:
    """The sheet as 100 g of raw batter, with what had to be assumed.

    Meat protein stands apart from the protein of binders and additives; salt holds the cure's own. `end_C` and `core_C` go before what the sheet has
    (a measured end before a planned one), and that before the example frankfurter. `known`: any other field of Batter that is known better (pH, drop_um, fat_kind, ...).
    """
    need(sheet.batch_kg > 0, "the sheet holds nothing to chop; give at least one line a weight")
    assumed: list[str] = []
    kg, sources = _kilograms(sheet, assumed)
    plan, pct = sheet.process, {name: 100 * amount / sheet.batch_kg for name, amount in kg.items()}
    fields = {
        f"{name}_pct": pct[name]
        for name in (
            "water",
            "protein",
            "fat",
            "salt",
            "phosphate",
            "nonmeat_protein",
            "starch",
            "fibre",
        )
    }
    fields["collagen_pct_of_protein"] = (
        100 * kg["collagen"] / kg["protein"] if kg["protein"] else 0.0
    )
    fields |= {
        "end_C": _first(end_C, plan.written_end_C, "end_C", "end temperature of chopping", assumed),
        "core_C": _first(core_C, plan.core_target_C, "core_C", "core temperature", assumed),
    }
    if fields["end_C"] < COLDEST_C:
        assumed.append(
            f"a batter of {fields['end_C']:.1f} °C, frozen, counts as one of {COLDEST_C:g} °C, the coldest that this room takes".replace(
                "-", "−"
            )
        )
        fields["end_C"] = COLDEST_C
    given = {name: value for name, value in known.items() if value is not None}
    if "drop_um" not in given:
        fields["drop_um"] = _first(None, plan.drop_um, "drop_um", "fat drop size", assumed)
    if "pH" not in given:
        fields["pH"] = _first(None, plan.meat_pH or _meat_pH(sheet), "pH", "pH", assumed)
    if "fat_kind" not in given:
        fields["fat_kind"] = plan.fat or _fat_kinds(sheet, assumed, sources)
    batter = Batter(**fields)
    if "collagen_pct_of_protein" in given:
        assumed = [what for what in assumed if not what.startswith("collagen")]
    return Described(
        batter.but(**given) if given else batter,
        tuple(dict.fromkeys(assumed)),
        tuple(dict.fromkeys(sources)),
        tuple(_working(sheet, kg, pct)),
    )


def holds_of(
    sheet: Sheet,
    calibration: Calibration | None = None,
    end_C: float | None = None,
    core_C: float | None = None,
    *,
    with_remedies: bool = False,
    draws: int = DRAWS,
    **known,
) -> Holds:
    """Margins, what fails first, and what leaves with its 10, 50 and 90 %, for one sheet. The same sheet always gets the same draws.

    `with_remedies` also seeks the changes that lift the weakest limit, which takes several times as long.
    """
    found = described(sheet, end_C, core_C, **known)
    held = hold(found.batter, calibration)
    around = spread(
        found.batter,
        draws=draws,
        calibration=calibration,
        parameters=_kept(_Named(calibration), draws),
    )
    lifted = (
        mended(bowl_of(sheet), found.batter, calibration=calibration) if with_remedies else None
    )
    notes = tuple(
        dict.fromkeys(
            (
                *(f"assumed: {what}" for what in found.assumed),
                *held.notes,
                *(lifted.notes if lifted else ()),
            )
        )
    )
    return Holds(sheet.name, sheet.batch_kg, found, held, around, lifted, notes)


@dataclass(frozen=True)
class _Named:
    """A calibration that can be looked up by its own text."""

    calibration: Calibration | None = field(compare=False)
    text: str = ""

    def __post_init__(self):
        object.__setattr__(self, "text", as_toml(self.calibration) if self.calibration else "")


@lru_cache(maxsize=4)
def _kept(named: _Named, draws: int) -> Parameters:
    """One cloud serves every move of a slider."""
    return cloud(np.random.default_rng(SEED), draws, named.calibration)


def collagen_of(sheet: Sheet) -> tuple[float, tuple[str, ...]]:
    """Collagen as % of the meat protein, as the model takes it (nan without meat protein), and what had to be assumed for it."""
    assumed: list[str] = []
    kg, _ = _kilograms(sheet, assumed)
    return 100 * kg["collagen"] / kg["protein"] if kg["protein"] else float("nan"), tuple(
        what for what in assumed if what.startswith("collagen")
    )


# from lines to kilograms


def _kilograms(sheet: Sheet, assumed: list[str]) -> tuple[dict[str, float], list[str]]:
    kg = dict.fromkeys(
        (
            "water",
            "protein",
            "collagen",
            "fat",
            "salt",
            "phosphate",
            "nonmeat_protein",
            "starch",
            "fibre",
        ),
        0.0,
    )
    sources: list[str] = []
    for line in sheet.lines:
        m = line.material
        sources.append(m.cite())
        for part, pct in (("water", m.moisture_pct), ("fat", m.fat_pct), ("salt", m.salt_pct)):
            kg[part] += line.kg * pct / 100
        _protein(line, kg, assumed, sources)
        if line.kind == "binder" and m.carbohydrate_pct:
            shares = {"starch": m.starch_pct, "fibre": m.fibre_pct}
            if unknown := " and no ".join(part for part, share in shares.items() if share is None):
                assumed.append(
                    f"the carbohydrate of {line.name} holds no {unknown}, for no figure is published or given (starch_pct, fibre_pct on its line)"
                )
            for part, share in shares.items():
                kg[part] += line.kg * (share or 0.0) / 100
        if line.kind == "phosphate":
            kg["phosphate"] += line.kg
            if line.compound != "sodium tripolyphosphate":
                assumed.append(f"{line.name} counts weight for weight as sodium tripolyphosphate")
    return kg, sources


def _protein(line: Line, kg: dict[str, float], assumed: list[str], sources: list[str]):
    m, protein = line.material, line.kg * line.material.protein_pct / 100
    if line.kind in ("meat", "rework"):
        if line.kind == "rework" and protein:
            row = tables.number("rework_binding_share")
            assumed.append(f"{row.value:g} of the protein of {line.name} still binds")
            sources.append(row.cite())
            protein *= row.value
        share = m.collagen_pct_of_protein
        if share is None and protein:
            row = tables.number("emulsion_base_collagen_pct_of_protein")
            share = row.value
            assumed.append(
                f"collagen of {line.name} is {share:g} % of its protein, for no figure is published or given"
            )
            sources.append(row.cite())
        kg["protein"] += protein
        kg["collagen"] += protein * (share or 0.0) / 100
    elif line.kind in ("binder", "other") and m.rule_class != "cheese":
        collagen = (
            protein * (m.collagen_pct_of_protein or 0.0) / 100
        )  # gelatin and collagen powder count with the meat's collagen
        kg["protein"] += collagen
        kg["collagen"] += collagen
        kg["nonmeat_protein"] += protein - collagen


def _fat_kinds(sheet: Sheet, assumed: list[str], sources: list[str]) -> str | dict[str, float]:
    """Shares by the fat that each line brings. Fat of binders and spices is left out of the shares: it is little and bound."""
    kg: dict[str, float] = {}
    for line in sheet.lines:
        fat, species = line.kg * line.material.fat_pct / 100, line.material.species
        if line.kind == "rework" or not fat:
            continue
        if species == "beef":
            kg["beef"] = kg.get("beef", 0.0) + fat
        elif species in POULTRY:
            kg["poultry"] = kg.get("poultry", 0.0) + fat
        elif species == "pork":
            key = f"pork_back_share_of_{line.material.name.replace(' ', '_')}"
            row = tables.number(key if key in tables.numbers() else "pork_back_share_usual")
            sources.append(row.cite())
            if row.name == "pork_back_share_usual":
                assumed.append(
                    f"{row.value:g} of the fat of pork without a fat kind of its own is back fat, the rest soft"
                )
            for kind, share in (("pork back", row.value), ("soft pork", 1 - row.value)):
                if share:
                    kg[kind] = kg.get(kind, 0.0) + share * fat
        elif line.kind == "other" and line.material.rule_class != "cheese":
            kg["oil"] = kg.get("oil", 0.0) + fat
    if kg:
        return kg
    assumed.append("the fat behaves like pork back fat, for no line says of which animal it is")
    return "pork back"


def _meat_pH(sheet: Sheet) -> float | None:
    """Mean of the meats by weight where each has a pH, else None."""
    meats = sheet.of_kind("meat")
    return (
        sum(line.kg * line.pH for line in meats) / sheet.meat_kg
        if meats and all(line.pH is not None for line in meats)
        else None
    )


def _first(
    asked: float | None, planned: float | None, name: str, words: str, assumed: list[str]
) -> float:
    if asked is not None:
        return asked
    if planned is not None:
        return planned
    row = tables.number(f"emulsion_base_{name}")
    assumed.append(
        f"{words} is {row.value:g} {row.unit}, as in the example frankfurter".replace(" pH,", ",")
    )
    return row.value


def _working(sheet: Sheet, kg: dict[str, float], pct: dict[str, float]):
    words = {
        "water": "water in 100 g batter",
        "protein": "meat protein in 100 g batter",
        "fat": "fat in 100 g batter",
        "salt": "salt in 100 g batter, the cure's own with it",
        "nonmeat_protein": "protein of binders in 100 g batter",
    }
    for name, what in words.items():
        yield step(
            what,
            "x = 100 × k / B",
            pct[name],
            "g",
            k=(kg[name], "kg", "in the batch"),
            B=(sheet.batch_kg, "kg", "whole batch"),
        )
    if kg["protein"]:
        yield step(
            "collagen share of the meat protein",
            "c = 100 × kc / kp",
            100 * kg["collagen"] / kg["protein"],
            "%",
            kc=(kg["collagen"], "kg", "collagen"),
            kp=(kg["protein"], "kg", "meat protein"),
        )
