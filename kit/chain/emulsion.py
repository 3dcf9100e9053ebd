"""From a sheet to the batter that the emulsion model asks for, and what that room says of it."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from kit import tables
from kit.emulsion import hold
from kit.emulsion.batter import PARTS, Batter, possible
from kit.emulsion.calibrate import Calibration
from kit.emulsion.held import HeldBatter
from kit.emulsion.parameters import Parameters
from kit.emulsion.saved import as_toml, from_toml
from kit.emulsion.spread import EmulsionSpread, cloud, spread
from kit.errors import need
from kit.sheet import Line, Sheet
from kit.working import Result

DRAWS, SEED = 2000, 4
COLDEST_C = possible("end_C")[0]
POULTRY = ("chicken", "turkey")
COOK_OUT = {"all": "total", "water": "water", "fat": "fat", "solids": "solids"}
"""part of the cook-out -> the stem of its field of BatterState and EmulsionSpread"""
IN_100_G = tuple(name.removesuffix("_pct") for name in PARTS)


@dataclass(frozen=True)
class Described(Result):
    """A batter read off a sheet; the notes say what was assumed, because the sheet did not."""

    batter: Batter


@dataclass(frozen=True)
class EmulsionAnswer(Result):
    """What the emulsion model says of one sheet. Grams of 100 g raw batter are percent of the batter's weight; `batch_kg` makes kilograms of them."""

    name: str
    batch_kg: float
    described: Described
    held: HeldBatter
    spread: EmulsionSpread

    @property
    def batter(self) -> Batter:
        return self.held.batter

    @property
    def fails_first(self) -> str:
        """The limit with the smallest margin, whether or not it lies past its edge."""
        return self.held.fails_first

    @property
    def cook_out_g(self) -> dict[str, float]:
        """What 100 g raw batter release in the cook: all of it, and its parts."""
        return {part: getattr(self.held, f"{stem}_out_g") for part, stem in COOK_OUT.items()}

    @property
    def cook_out_range_g(self) -> dict[str, tuple[float, ...]]:
        """10, 50 and 90 % of `cook_out_g`."""
        of = self.spread
        return {p: tuple(getattr(of, f"{stem}_out_g").tolist()) for p, stem in COOK_OUT.items()}

    def kg(self, grams_of_100: float) -> float:
        """Grams of 100 g raw batter as kilograms of this batch."""
        return self.batch_kg * float(grams_of_100) / 100


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
    plan = sheet.process
    fields: dict[str, Any] = {f"{name}_pct": 100 * kg[name] / sheet.batch_kg for name in IN_100_G}
    fields["collagen_pct_of_protein"] = _collagen_pct(kg, 0.0)
    given = {"end_C": end_C, "core_C": core_C, **known}
    given = {name: amount for name, amount in given.items() if amount is not None}
    for name, words, written in (
        ("end_C", "final chopping temperature", plan.written_end_C),
        ("core_C", "core temperature", plan.core_target_C),
        ("drop_um", "fat globule size", plan.drop_um),
        ("pH", "pH", plan.meat_pH or meat_pH(sheet)),
    ):
        if name not in given and written is None:
            row = tables.number(f"emulsion_base_{name}")
            amount = f"{row.value:g} {row.unit}".removesuffix(" pH")
            assumed.append(f"{words} is {amount}, as in the example frankfurter")
            written = row.value
        fields[name] = given.pop(name, written)
    if "fat_kind" not in given:
        fields["fat_kind"] = plan.fat or _fat_kinds(sheet, assumed, sources)
    if fields["end_C"] < COLDEST_C:
        colder = f"a batter of {fields['end_C']:.1f} °C, frozen, counts as one of {COLDEST_C:g} °C"
        assumed.append(f"{colder}, the coldest that this room takes".replace("-", "−"))
        fields["end_C"] = COLDEST_C
    if "collagen_pct_of_protein" in given:
        assumed = [what for what in assumed if not what.startswith("collagen")]
    return Described(
        Batter(**fields).but(**given),
        own_notes=tuple(f"assumed: {what}" for what in assumed),
        own_sources=tuple(sources),
    )


def emulsion_of(
    sheet: Sheet,
    calibration: Calibration | None = None,
    end_C: float | None = None,
    core_C: float | None = None,
    *,
    draws: int = DRAWS,
    **known,
) -> EmulsionAnswer:
    """Margins, the limit that fails first, and the cook-out with its 10, 50 and 90 %, for one sheet. The same sheet always gets the same draws.

    calibration: a plant's own levels. end_C, core_C, known: as for `described`. draws: of every uncertain number.
    """
    found = described(sheet, end_C, core_C, **known)
    drawn = _cloud(as_toml(calibration) if calibration else "", draws)
    return EmulsionAnswer(
        sheet.name,
        sheet.batch_kg,
        found,
        hold(found.batter, calibration),
        spread(found.batter, drawn, draws),
    )


@lru_cache(maxsize=4)
def _cloud(calibration: str, draws: int) -> Parameters:
    """One cloud serves every move of a slider, by the text of its calibration."""
    own = from_toml(calibration.encode(), "calibration") if calibration else None
    return cloud(np.random.default_rng(SEED), draws, own)


def collagen_of(sheet: Sheet) -> tuple[float, tuple[str, ...]]:
    """Collagen as % of the meat protein, as the model takes it (nan without meat protein), and what had to be assumed for it."""
    assumed: list[str] = []
    kg, _ = _kilograms(sheet, assumed)
    about = tuple(what for what in assumed if what.startswith("collagen"))
    return _collagen_pct(kg, float("nan")), about


def _collagen_pct(kg: dict[str, float], without: float) -> float:
    """Collagen as % of the meat protein; `without` where there is none."""
    return 100 * kg["collagen"] / kg["protein"] if kg["protein"] else without


# from lines to kilograms


def _kilograms(sheet: Sheet, assumed: list[str]) -> tuple[dict[str, float], list[str]]:
    """The sheet's composition, with protein as it binds and the carbohydrate of binders only."""
    kg = dict.fromkeys((*IN_100_G, "collagen"), 0.0)
    kg |= {part: getattr(sheet.composition, f"{part}_kg") for part in ("water", "fat", "salt")}
    sources = list(sheet.sources)
    for line in sheet.lines:
        m = line.material
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
        if species == "beef" or species in POULTRY:
            kind = "beef" if species == "beef" else "poultry"
            kg[kind] = kg.get(kind, 0.0) + fat
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


def meat_pH(sheet: Sheet) -> float | None:
    """Mean of the meats by weight where each has a pH, else None."""
    known = [(line.kg, line.pH) for line in sheet.of_kind("meat") if line.pH is not None]
    if not known or len(known) < len(sheet.of_kind("meat")):
        return None
    return sum(kg * pH for kg, pH in known) / sheet.meat_kg
