"""The model on one batter, step by step, so that a pencil can redo it.

Formulas and symbols are rows of data/emulsion/steps.csv and symbols.csv; here they get their numbers.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import scipy as sp

from kit import tables
from kit.emulsion import model
from kit.emulsion.batter import Batter
from kit.emulsion.model import BatterState
from kit.emulsion.parameters import Parameters
from kit.working import Step, steps_from


@lru_cache(maxsize=2)
def _rows(file: str) -> tuple[dict[str, str], ...]:
    return tuple(tables.read_rows("emulsion", file))


def _symbols(b: Batter, p: Parameters, s: BatterState) -> dict[str, Any]:
    """symbol -> value, unit, meaning."""
    read = {
        "batter": lambda name: getattr(b, name),
        "parameters": lambda name: getattr(p, name),
        "state": lambda name: getattr(s, name),
        "model": lambda name: float(getattr(model, name)(b, p)),
        "log-odds": lambda name: float(sp.special.logit(getattr(p, name))),
        "table": tables.value,
    }
    return {
        row["symbol"]: (read[row["of"]](row["name"]), row["unit"], row["meaning"])
        for row in _rows("symbols.csv")
    }


def steps_of_model(b: Batter, p: Parameters, s: BatterState) -> tuple[Step, ...]:
    """Every line of the model for one batter."""
    known = _symbols(b, p, s)
    steps: list[Step] = []
    coated = s.film_protein_g > 0
    holds = {
        "": True,
        "wet": b.water_pct > 0,
        "no fat": not coated,
        "no film": coated and s.dissolved_protein_g == 0,
        "covered": coated and s.dissolved_protein_g > 0,
        "non-meat protein": b.nonmeat_protein_pct > 0,
        "starch": b.starch_pct > 0,
        "fibre": b.fibre_pct > 0,
        "edge": p.water_edge_share < known["D"][0],
    }
    for row in _rows("steps.csv"):
        if row["when"] == "temperature":
            steps += _temperature(b, p, known)
        elif holds[row["when"]]:
            steps += steps_from(
                known, tuple(row[key] for key in ("what", "formula", "unit", "key"))
            )
    return tuple(steps)


def _temperature(b: Batter, p: Parameters, known: dict[str, Any]) -> Iterator[Step]:
    several = len(b.fat_shares) > 1
    mean: dict[str, Any] = {"mT": known["mT"]}
    for n, (kind, share) in enumerate(b.fat_shares.items(), 1):
        fat, margin = p.fats[kind], float(model.temperature_margin_of(kind, b, p))
        hot, name = b.end_C > fat.best_end_C, f"mT{n}" if several else "mT"
        side, away = ("above", "Te − T0") if hot else ("at or below", "T0 − Te")
        width = fat.hot_width_C if hot else fat.cold_width_C
        own = {name: margin, "T0": (fat.best_end_C, "°C", "best end"), "w": (width, "K")}
        what = f"temperature margin of {kind} fat, {side} its best end"
        formula = f"{name} = max(−cap, min(cap, 1 − ({away}) / w))"
        key = "temperature margin" if n == 1 else ""
        yield from steps_from(known | own, (what, formula, "", key))
        mean |= {f"s{n}": (share, "", f"share of {kind} fat"), f"mT{n}": margin}
    if several:
        formula = "mT = " + " + ".join(f"s{n} × mT{n}" for n in range(1, len(b.fat_shares) + 1))
        yield from steps_from(mean, ("temperature margin, the mean by share", formula, ""))
