"""A batch with a fault planted in it: what every measurement would truly be.

The fault moves drivers (rows of data/diagnosis/planted.csv, all teaching assumptions); the rooms work out what follows. The chop room
gives the end temperature from meat, ice and knife time; the emulsion room gives what leaves in the tube and in the house; the cure room
gives the nitrite. What no room knows yet (casing, house, bacteria) is drawn as such.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit import tables
from kit.chop.bowl import Bowl
from kit.chop.charge import Charge, ice, salt
from kit.cure.dose import nitrite_ppm, premix_kg_for
from kit.cure.premix import premix
from kit.diagnosis.catalogue import Catalogue, catalogue
from kit.emulsion import Batter
from kit.emulsion.batter import base_batter
from kit.emulsion.model import brine_pct, work_out
from kit.emulsion.parameters import defaults
from kit.errors import UnknownName, need_between
from kit.properties.makeup import makeup_from_pct

FATS = ("pork back", "beef", "poultry")
PREMIX = "US curing salt, 6.25 % nitrite"
SOUND = ""
"""plant(SOUND, ...) is a batch without a fault"""
_WORKED_OUT = (
    "end_over_best_K",
    "tube_fat_over_g",
    "tube_water_over_g",
    "fat_over_sheet_pct",
    "water_protein_over",
    "brine_pct_of_sheet",
    "house_loss_over_pct",
    "nitrite_ppm",
    "residual_ppm",
)
"""readings that follow from the drivers by the rooms; every other reading is its own driver"""
# driver -> (middle, spread in sound batches); the readings that are drivers have theirs in readings.csv
_OWN = {
    "cooled_share": (0.0, 0.0),
    "more_fat_g": (0.0, 0.6),
    "salt_share": (1.0, 0.03),
    "more_water_g": (0.0, 0.9),
    "drying_over_pct": (0.0, 0.8),
    "cure_share": (1.0, 0.05),
}


@dataclass(frozen=True)
class SimulatedBatches:
    """`count` batches of one plan. `truth`: {reading key: array}, without noise of measurement."""

    cause: str
    fat_kind: str
    plan: Batter
    batter: Batter
    bowl: Bowl
    energy_kJ_per_kg: np.ndarray
    """from the knives, less what stops in the cooler took back"""
    best_C: float
    premix_kg: np.ndarray
    planned_premix_kg: float
    truth: dict[str, np.ndarray]


@lru_cache(maxsize=1)
def _moves() -> dict[str, dict[str, tuple[float, float]]]:
    """{cause: {driver: (low, high)}}."""
    found: dict[str, dict[str, tuple[float, float]]] = {}
    for row in tables.read_rows("diagnosis", "planted.csv"):
        found.setdefault(row["cause"], {})[row["driver"]] = float(row["low"]), float(row["high"])
    return found


def plant(
    cause: str, count: int, rng: np.random.Generator, fat_kind: str | None = None
) -> SimulatedBatches:
    """`count` batches with the fault (a cause key, or SOUND). The plan and the fat are drawn unless `fat_kind` names one."""
    book, moves = catalogue(), _moves()
    if cause != SOUND and cause not in moves:
        raise UnknownName("cause to plant", cause, moves)
    count = int(need_between("number of batches", count, 1, 100_000))
    fat_kind = fat_kind or str(rng.choice(FATS))
    plan = _plan(fat_kind, rng)
    drivers = _drivers(book, moves.get(cause, {}), count, rng)
    best = defaults().fats[fat_kind].best_end_C
    bowl, energy = _chopped(plan, drivers, best)
    batter = _batter(plan, drivers, bowl.end_C(energy))
    wanted_kg = _wanted_premix_kg(book)
    premix = wanted_kg * drivers["cure_share"]
    truth = _truth(book, plan, batter, best, premix, drivers)
    return SimulatedBatches(
        cause,
        fat_kind,
        plan,
        batter,
        bowl,
        energy,
        best,
        premix,
        wanted_kg,
        truth,
    )


def _plan(fat_kind: str, rng) -> Batter:
    fat, protein, salt = rng.uniform(24, 27), rng.uniform(11.8, 12.8), rng.uniform(1.8, 2.1)
    base, book = base_batter(), catalogue()
    return base.but(
        fat_pct=fat,
        protein_pct=protein,
        salt_pct=salt,
        water_pct=97.1 - fat - protein - salt,
        fat_kind=fat_kind,
        pH=book.readings["pH"].usual_value,
        collagen_pct_of_protein=book.readings["collagen_pct"].usual_value,
        drop_um=book.readings["drop_um"].usual_value,
        core_C=book.readings["core_C"].usual_value,
        end_C=defaults().fats[fat_kind].best_end_C,
    )


def _drivers(book: Catalogue, moves, count: int, rng) -> dict[str, np.ndarray]:
    """Sound spread for each driver, then the fault's own range for those it moves."""
    usual = {"meat_C": (tables.value("diagnosis_meat_usual_C"), 0.3), **_OWN}
    usual |= {
        key: (r.usual_value, r.sound_sd)
        for key, r in book.readings.items()
        if key not in _WORKED_OUT
    }
    found = {name: middle + sd * rng.standard_normal(count) for name, (middle, sd) in usual.items()}
    found["residual_left_pct"] = rng.uniform(
        tables.value("residual_after_cook_low_pct"),
        tables.value("residual_after_cook_high_pct"),
        count,
    )
    return found | {name: rng.uniform(low, high, count) for name, (low, high) in moves.items()}


def _chopped(plan: Batter, drivers, best_C: float):
    """The bowl as it went in, the energy it got (kJ/kg, by knife time, less cooling)."""
    meat_kg, ice_kg, salt_kg = (
        tables.value("diagnosis_meat_kg"),
        tables.value("diagnosis_ice_kg"),
        plan.salt_pct,
    )
    parts_kg = {"water": plan.water_pct - ice_kg, "protein": plan.protein_pct, "fat": plan.fat_pct}
    parts_kg["ash"] = meat_kg - sum(parts_kg.values())
    makeup = makeup_from_pct(**{part: 100 * kg / meat_kg for part, kg in parts_kg.items()})
    dry = Charge(
        "seasoning and other dry goods",
        "spice",
        100 - meat_kg - ice_kg - salt_kg,
        tables.value("diagnosis_dry_C"),
        makeup_from_pct(carbohydrate=100),
    )

    def bowl(meat_C):
        return Bowl(
            (
                Charge("meat", "meat", meat_kg, meat_C, makeup),
                ice(ice_kg),
                salt(salt_kg),
                dry,
            )
        )

    planned = float(bowl(tables.value("diagnosis_meat_usual_C")).energy_to_kJ_per_kg(best_C))
    extra = planned * (drivers["chop_time_pct"] / 100 - 1)
    return bowl(drivers["meat_C"]), planned + extra * (1 - drivers["cooled_share"])


def _batter(plan: Batter, d, end_C) -> Batter:
    mixed = plan.mixed_with(d["more_fat_g"], fat_pct=100).mixed_with(
        d["more_water_g"], water_pct=100
    )
    return mixed.but(
        salt_pct=mixed.salt_pct * np.clip(d["salt_share"], 0, None),
        collagen_pct_of_protein=np.clip(d["collagen_pct"], 0, 95),
        pH=d["pH"],
        drop_um=np.clip(d["drop_um"], 1, None),
        core_C=d["core_C"],
        end_C=np.clip(end_C, -10, 60),
    )


def _wanted_premix_kg(book: Catalogue) -> float:
    """Premix for the usual dose."""
    mix = premix(PREMIX)
    return float(
        premix_kg_for(
            book.readings["nitrite_ppm"].usual_value,
            mix.nitrite_pct,
            tables.value("diagnosis_meat_kg"),
        )
    )


def _truth(
    book: Catalogue, plan: Batter, batter: Batter, best_C: float, premix_kg, d
) -> dict[str, np.ndarray]:
    p, core = defaults(), tables.value("emulsion_core_reference_C")
    tube, usual_tube = work_out(batter.but(core_C=core), p), work_out(plan.but(core_C=core), p)
    house, usual_house = work_out(batter, p), work_out(plan, p)
    nitrite = nitrite_ppm(
        np.clip(premix_kg, 0, None),
        premix(PREMIX).nitrite_pct,
        tables.value("diagnosis_meat_kg"),
    )
    worked_out = {
        "end_over_best_K": batter.end_C - best_C,
        "tube_fat_over_g": tube.fat_out_g - usual_tube.fat_out_g,
        "tube_water_over_g": tube.water_out_g - usual_tube.water_out_g,
        "fat_over_sheet_pct": batter.fat_pct - plan.fat_pct,
        "water_protein_over": batter.water_pct / batter.protein_pct
        - plan.water_pct / plan.protein_pct,
        "brine_pct_of_sheet": 100 * brine_pct(batter) / brine_pct(plan),
        "house_loss_over_pct": house.total_out_g - usual_house.total_out_g + d["drying_over_pct"],
        "nitrite_ppm": nitrite,
        "residual_ppm": nitrite * d["residual_left_pct"] / 100,
    }
    return {
        key: np.clip(
            worked_out[key] if key in worked_out else d[key], reading.lowest, reading.highest
        )
        for key, reading in book.readings.items()
    }
