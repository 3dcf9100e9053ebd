"""Ordinary cure sheets as the trade writes them, made without asking the kit what it would allow.

Rates, doses, batch sizes and scales are common practice; what the law leaves is typed here by hand from the sources named beside it. So a
count of false and missed alarms on these sheets can fail, which a count on sheets drawn from the alarm's own band cannot.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from kit.cure import CureLine, Plan, Scale, mistakes
from kit.cure.premix import premix
from kit.rules.limits import limits_for

STRONG = "US curing salt, 6.25 % nitrite"


@dataclass(frozen=True)
class Place:
    """One rule as printed: most and least NaNO2, mg per kg of `base`, and what its trade weighs: g/kg of premix, or ppm wanted, of `base`."""

    jurisdiction: str
    day: date | None
    base: str
    most: float
    least: float
    rates: tuple[tuple[str, tuple[float, ...]], ...]
    wanted: tuple[tuple[str, tuple[float, ...]], ...]

    def allows(self, nitrite_mg: float, meat: float, batch: float, finished: float | None) -> bool:
        """Is this much NaNO2 inside the printed figures? In the US, 200 of the finished product holds as well."""
        ppm = nitrite_mg / {"meat": meat, "batch": batch}[self.base]
        return self.least - 1e-9 <= ppm <= self.most + 1e-9 and (
            finished is None or self.jurisdiction != "US" or nitrite_mg <= 200 * finished
        )


_SALTS = (
    ("nitrite salt 0.4 %", (16, 18, 20, 22)),
    ("nitrite salt 0.5 %", (16, 18, 20, 22)),
    ("nitrite salt 0.6 %", (16, 17, 18, 19, 20)),
)
"""salt with nitrite in it, at the usual 1.6 to 2.2 % of the batch"""
PLACES = (
    # 9 CFR 424.21(c), 2015: 1/4 oz per 100 lb of meat; FSIS Handbook 7620.3: at least 120 where kept refrigerated
    Place(
        "US",
        None,
        "meat",
        0.25 / 1600 * 1e6,
        120,
        (
            (STRONG, (2.0, 2.2, 2.4, 2.5)),
            ("complete cure 0.75 %", (16, 18, 20)),
            ("nitrite salt 0.6 %", (20, 22, 25)),
        ),
        ((STRONG, (156, 150, 140, 130, 125, 120)), ("complete cure 0.75 %", (150, 120))),
    ),
    # Regulation (EC) 1333/2008 before October 2025: 150 as NaNO2 added
    Place(
        "EU",
        date(2025, 1, 15),
        "batch",
        150,
        0,
        (*_SALTS, ("nitrite salt 0.9 %", (12, 14, 16))),
        ((STRONG, (150, 120, 100, 80)), ("nitrite salt 0.9 %", (150, 120, 100))),
    ),
    # Regulation (EU) 2023/2108 as reported: 80 as the ion, printed as 120 of sodium nitrite
    Place(
        "EU",
        date(2026, 1, 15),
        "batch",
        120,
        0,
        _SALTS,
        ((STRONG, (120, 100, 80)), ("nitrite salt 0.9 %", (120, 100, 80))),
    ),
    # SI 2007/1778: 150 as NaNO2
    Place(
        "Great Britain",
        None,
        "batch",
        150,
        0,
        (*_SALTS, (STRONG, (2.0, 2.2, 2.4))),
        ((STRONG, (150, 120, 100, 80)), ("complete cure 0.75 %", (150, 120))),
    ),
    # Health Canada: 0.32 oz per 100 lb of meat; the inspection agency asks for 100
    Place(
        "Canada",
        None,
        "meat",
        0.32 / 1600 * 1e6,
        100,
        ((STRONG, (2.0, 2.5, 3.0, 3.2)), ("complete cure 0.75 %", (20, 25))),
        ((STRONG, (200, 180, 150, 120, 100)),),
    ),
)
SALT_PCT_OF_BATCH, ERYTHORBATE_PCT_OF_MEAT, PHOSPHATE_PCT_OF_BATCH = (
    (1.6, 2.2),
    (0.030, 0.055),
    (0.2, 0.4),
)
ERYTHORBATE_MOST_PPM_OF_MEAT = 7 / 8 / 1600 * 1e6
"""9 CFR 424.21(c): 7/8 oz per 100 lb; the 0.055 % that is often weighed is a little past it"""


@dataclass(frozen=True)
class Sheet:
    """`place`: whose law and trade. `plan` as weighed; `lawful`: the weighed dose lies inside the printed figures; `by_rounding`: the calculated one did, and only the scale's step
    carried it out. `salt_pct`, `erythorbate_pct`, `phosphate_pct`: the other dry lines."""

    place: Place
    plan: Plan
    lawful: bool
    by_rounding: bool
    off_target_pct: float
    salt_pct: float
    erythorbate_pct: float
    phosphate_pct: float


def trade_sheet(seed: int, with_target: bool = False) -> Sheet:
    """One ordinary sheet. The same seed gives the same sheet."""
    rng = np.random.default_rng((seed, 2026))
    place = PLACES[int(rng.integers(len(PLACES)))]
    meat = _round_meat(float(np.exp(rng.uniform(np.log(2), np.log(500)))))
    batch = round(meat * float(rng.uniform(1.12, 1.6)), 1 if meat < 100 else 0)
    finished = round(batch * float(rng.uniform(0.84, 0.95)), 1) if rng.random() < 0.5 else None
    table = place.wanted if (by_ppm := rng.random() < 0.5) else place.rates
    name, figures = table[int(rng.integers(len(table)))]
    figure, mix = float(rng.choice(figures)), premix(name)
    base = meat if place.base == "meat" else batch
    ppm = figure if by_ppm else figure * mix.strength_pct * 10
    exact_g = ppm * base / mix.strength_pct / 10
    step = float(rng.choice([s for s in (0.1, 1.0, 5.0) if exact_g >= 20 * s] or [0.1]))
    weighed_g = round(round(exact_g / step) * step, 1)
    got = weighed_g * mix.strength_pct * 10 / base
    lawful, meant = (place.allows(dose * base, meat, batch, finished) for dose in (got, ppm))
    as_ion = place.most == 120 and ppm == 120 and rng.random() < 0.5
    target = None if not with_target else 80.0 if as_ion else round(ppm)
    plan = Plan(
        meat,
        batch,
        finished,
        cure=(CureLine(mix, weighed_g / 1000),),
        limits=limits_for(place.jurisdiction, on=place.day),
        target_ppm=target,
        target_basis=place.base,
        target_as="NO2" if as_ion else "NaNO2",
        scale=Scale(step, step / 2) if rng.random() < 0.5 else None,
    )
    return Sheet(
        place,
        plan,
        lawful,
        meant and not lawful,
        100 * abs(got / round(ppm) - 1),
        *(
            round(float(rng.uniform(*span)), n)
            for span, n in (
                (SALT_PCT_OF_BATCH, 2),
                (ERYTHORBATE_PCT_OF_MEAT, 4),
                (PHOSPHATE_PCT_OF_BATCH, 2),
            )
        ),
    )


def _round_meat(kg: float) -> float:
    """As people write it: to 0.1 kg when small, to 1 kg, to 5 kg."""
    return round(kg, 1) if kg < 20 else float(round(kg)) if kg < 100 else float(5 * round(kg / 5))


COLOUR_FROM_PPM = 50
"""NAS 1982, p. 7-8: the colour of bologna was accepted from 50; less than that on the meat is no ordinary dose, whatever the law allows"""


def planted_sheet(seed: int, key: str, with_target: bool = False) -> tuple[Sheet, Plan]:
    """An ordinary trade sheet, and the same sheet with one slip done to it."""
    for turn in range(1000):
        sheet = trade_sheet(seed * 1000 + turn, with_target)
        plan = mistakes._plant(
            sheet.plan, key, np.random.default_rng((seed, mistakes.PLANTED.index(key)))
        )
        if sheet.lawful and plan is not None:
            return sheet, plan
    raise AssertionError(f"no trade sheet has room for {key}")


def outside(sheet: Sheet, plan: Plan, slack: float = 0.005) -> bool:
    """Is the dose of `plan` outside what the place prints by more than `slack` (a fraction), or too small for colour?"""
    mg = sum(line.kg * line.premix.strength_pct * 1e4 for line in plan.cure if line.premix.assayed)
    ends = (mg * (1 - slack), mg * (1 + slack))
    return mg / plan.meat_kg < COLOUR_FROM_PPM or not any(
        sheet.place.allows(end, plan.meat_kg, plan.batch_kg, plan.finished_kg) for end in ends
    )


def as_sheet(sheet: Sheet) -> dict:
    """The whole batch as a batch sheet, with salt, erythorbate and phosphate."""
    plan, cure = sheet.plan, sheet.plan.cure[0]
    salt = max(sheet.salt_pct / 100 * plan.batch_kg - cure.kg, 0.001 * plan.batch_kg)
    more = (
        ("salt", {}, salt),
        ("sodium erythorbate", {}, sheet.erythorbate_pct / 100 * plan.meat_kg),
        ("sodium tripolyphosphate", {}, sheet.phosphate_pct / 100 * plan.batch_kg),
        ("cure", {"nitrite_pct": cure.premix.nitrite_pct}, cure.kg),
    )
    ice = plan.batch_kg - plan.meat_kg - sum(kg for _, _, kg in more)
    lines = (("pork trim 80", {}, plan.meat_kg), ("ice", {}, ice), *more)
    return {
        "name": "trade sheet",
        "line": [{"name": name, "amount": f"{kg!r} kg", **label} for name, label, kg in lines],
        "process": {"scale_step_g": 1.0},
    }
