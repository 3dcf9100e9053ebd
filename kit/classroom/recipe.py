"""The class's batter at each level: which grams go into which bowl, and what is to be bought."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from kit import tables, units
from kit.allergens import caution as allergen_caution
from kit.chain.cure import cure_of
from kit.cook.ice import ice_to_chill
from kit.errors import need
from kit.faults import need_said
from kit.plan.weigh import WeighRow, weigh_rows
from kit.sheet import Sheet
from kit.sheet.sheet import sheet_of
from kit.trial.design import Design
from kit.trial.question import TrialQuestion
from kit.working import Result

CURE_KINDS = ("cure", "accelerator")


def base_sheet(sheet: Sheet, cured: bool, batter_kg: float, balance_step_g: float) -> Sheet:
    """The class's sheet for one batter of `batter_kg`: without cure unless `cured`, every line in kilograms."""
    data = sheet.as_dict()
    lines = [line for line in sheet.lines if cured or line.kind not in CURE_KINDS]
    need_said(any(line.kind == "meat" for line in lines), "class without meat")
    factor = batter_kg / sum(line.kg for line in lines)
    kept = {line.name: line.kg * factor for line in lines}
    data["line"] = [
        {**line, "amount": f"{kept[line['name']]!r} kg"}
        for line in data["line"]
        if line["name"] in kept
    ]
    data.pop("weighing", None)
    data["process"] = {**data.get("process", {}), "scale_step_g": balance_step_g}
    return sheet_of(data)


def at_level(sheet: Sheet, question: TrialQuestion, treatment: Sequence[float]) -> Sheet:
    """The sheet of one treatment. A factor that is set at the chopper or the bath leaves the recipe alone.

    OutOfRange where the sheet has no line that could be changed, with what to add.
    """
    for factor, level in zip(question.factors, treatment):
        sheet = _CHANGES[factor.key](sheet, level)
    return sheet


def _line(sheet: Sheet, level: float, words: str, *kinds: str, share: bool = False) -> Sheet:
    """The sheet with the first line of some kinds changed, all others as they were.

    level: grams for each 100 g of batter on top of it; with `share` % of the batch that all lines of the kind make.
    """
    lines = sheet.of_kind(*kinds)
    need(bool(lines) or not level, f"the sheet has no {words}; add a line of it")
    if not lines:
        return sheet
    name, kg = lines[0].name, lines[0].kg
    if share:
        of_kind_kg = level / 100 * (sheet.batch_kg - kg) / (1 - level / 100)
        return sheet.with_amounts({name: max(of_kind_kg - (sheet.kg_of(*kinds) - kg), 0.0)})
    return sheet.with_amounts({name: kg + level / 100 * sheet.batch_kg})


def _fat(sheet: Sheet, pct: float) -> Sheet:
    """Leanest and fattest meat exchanged for each other until the batch has `pct` fat."""
    meats = sorted(sheet.of_kind("meat"), key=lambda line: line.material.fat_pct)
    need_said(len(meats) >= 2, "one meat for a fat level")
    lean, fat, fat_kg = meats[0], meats[-1], sheet.composition.fat_kg
    per_kg = (fat.material.fat_pct - lean.material.fat_pct) / 100
    moved = (pct / 100 * sheet.batch_kg - fat_kg) / per_kg if per_kg else 0.0
    ends_kg = fat_kg - fat.kg * per_kg, fat_kg + lean.kg * per_kg
    ends_pct = [100 * kg / sheet.batch_kg for kg in ends_kg]
    reached = -fat.kg <= moved <= lean.kg
    need_said(reached, "level of fat", pct=pct, lean=lean, fat=fat, ends_pct=ends_pct)
    return sheet.with_amounts({lean.name: lean.kg - moved, fat.name: fat.kg + moved})


_CHANGES = {
    "salt_pct": lambda sheet, level: _line(sheet, level, "salt", "salt", share=True),
    "phosphate_pct": lambda sheet, level: _line(sheet, level, "phosphate", "phosphate", share=True),
    "fat_pct": _fat,
    "ice_g": lambda sheet, level: _line(sheet, level, "ice or water", "ice", "water"),
    "binder_g": lambda sheet, level: _line(sheet, level, "protein isolate", "binder"),
    "end_C": lambda sheet, level: sheet.with_process(chop_end_C=level),
    "core_C": lambda sheet, level: sheet.with_process(core_target_C=level),
    "drop_um": lambda sheet, level: sheet.with_process(drop_um=level),
}


@dataclass(frozen=True)
class BatterSheet:
    """What one station weighs for one of its batters."""

    batter: int
    rows: tuple[WeighRow, ...]
    cautions: tuple[str, ...]
    withheld: bool
    """the cure's weight is not on the student's page: the teacher weighs it by the weigh list"""


def batter_kg(planned: Design, least_kg: float) -> float:
    """Batter for the tubes with what stays behind, not below the smallest load of the chopper."""
    stays_g = tables.value("classroom_stays_g")
    tubes_g = max(sum(u.fills_g) + stays_g * len(u.fills_g) for u in planned.units)
    if planned.kind == "split":
        tubes_g *= planned.batters * len(planned.question.treatments)
    return max(ceil(tubes_g / 10) / 100, least_kg)


def _rows(sheet: Sheet) -> tuple[WeighRow, ...]:
    finished_kg = sheet.batch_kg * tables.value("usual_cook_yield_pct") / 100
    return weigh_rows(sheet, cure_of(sheet, finished_kg))


def weigh_sheets(
    planned: Design, sheets: Mapping[int, Sheet], station: int
) -> tuple[BatterSheet, ...]:
    """The weigh sheets of one station, in the order in which it makes its batters. No row of a student's page holds grams of a nitrite salt."""
    units = [u for u in planned.made if u.station == station]
    need(bool(units), f"station {station} is not in this design; it has 1 to {planned.stations}")
    cautions, found = [one.caution for one in planned.question.factors], []
    for u in units:
        sheet = sheets[u.treatment]
        rows, allergens = _rows(sheet), allergen_caution([line.name for line in sheet.lines])
        shown = tuple(row for row in rows if row.kind != "cure")
        said = tuple(filter(None, (*cautions, allergens)))
        found.append(BatterSheet(u.batter, shown, said, len(shown) < len(rows)))
    return tuple(found)


def cure_bags(
    planned: Design, sheets: Mapping[int, Sheet]
) -> tuple[tuple[int, int, WeighRow], ...]:
    """(station, batter, cure) that the teacher weighs into bags beforehand, by the weigh list; for the teacher's page alone."""
    made = ((u, row) for u in planned.made for row in _rows(sheets[u.treatment]))
    return tuple((u.station, u.batter, row) for u, row in made if row.kind == "cure")


@dataclass(frozen=True)
class ToBuy:
    """One line of the shopping list: `needed_kg` for all batters, `buy_kg` with what is spare."""

    name: str
    kind: str
    needed_kg: float
    price_per_kg: float | None

    @property
    def buy_kg(self) -> float:
        spare = self.kind in ("meat", "ice")
        return self.needed_kg * (1 + spare * tables.value("classroom_meat_spare_pct") / 100)

    @property
    def cost(self) -> float | None:
        return None if self.price_per_kg is None else self.price_per_kg * self.buy_kg

    def shown(self, system: str) -> tuple[str, ...]:
        """(what, needed, to buy, cost) in words."""
        weights = (units.show(kg, "kg", system, 3) for kg in (self.needed_kg, self.buy_kg))
        return self.name, *weights, "" if self.cost is None else f"{self.cost:.2f}"


@dataclass(frozen=True, eq=False)
class Shopping(Result):
    """What the class needs. Money in the currency of the prices given."""

    rows: tuple[ToBuy, ...]
    tubes: int
    chill_ice_kg: float
    allergens: str

    @property
    def cost(self) -> float | None:
        """Of what has a price; None where nothing has."""
        costs = [row.cost for row in self.rows if row.cost is not None]
        return sum(costs) if costs else None

    def shown(self, system: str) -> list[tuple[str, ...]]:
        """The rows in words, without what the teacher weighs by the weigh list."""
        return [row.shown(system) for row in self.rows if row.kind != "cure"]


def shopping(
    planned: Design,
    sheets: Mapping[int, Sheet],
    price_per_kg: Mapping[str, float] | None = None,
    bath_C: float = 75.0,
) -> Shopping:
    """The shopping list of a class.

    planned: the design. sheets: treatment -> sheet of one batter. price_per_kg: name -> price, or None. bath_C: of the tubes, for the ice that chills them.
    Returns a Shopping. Source: the sheets, with the spare shares of data/reference/classroom.csv.
    """
    kg: dict[tuple[str, str], float] = {}
    for u in planned.made:
        for line in sheets[u.treatment].lines:
            kg[line.name, line.kind] = kg.get((line.name, line.kind), 0.0) + line.kg
    prices, spare = price_per_kg or {}, tables.number("classroom_tubes_spare_pct")
    return Shopping(
        tuple(ToBuy(name, kind, needed, prices.get(name)) for (name, kind), needed in kg.items()),
        ceil(len(planned.fill_g) * (1 + spare.value / 100)),
        ice_to_chill(sum(planned.fill_g.values()) / 1000, bath_C, 4.0).ice_kg,
        allergen_caution([name for name, _ in kg]),
        own_sources=(tables.number("classroom_meat_spare_pct").cite(), spare.cite()),
    )
