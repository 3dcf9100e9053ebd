"""What is weighed, in the order in which it goes into the bowl, as the scale shows it?

Lean with salt, cure and phosphate first, with part of the ice; then fat; then spice, sugar and binder; the rest of the ice last, with the
accelerator. Common practice: print disputes the order.
"""

from dataclasses import dataclass, replace

from kit.chain.cure import CureAnswer
from kit.cure import Scale
from kit.sheet import Line, Sheet
from kit.tables import value

FIRST, SALT, COLD, FATTY, DRY, LAST = (
    "first, the lean",
    "with the lean, a few dry turns",
    "when the salt is in",
    "when the lean is sticky",
    "with the fat",
    "last",
)
ORDER = (FIRST, SALT, COLD, FATTY, DRY, LAST)
_BY_KIND = {
    **dict.fromkeys(("meat", "rework"), FIRST),
    **dict.fromkeys(("salt", "cure", "phosphate"), SALT),
    **dict.fromkeys(("accelerator", "water"), LAST),
}
LIMITED = ("cure", "accelerator", "phosphate")
TWICE = ("cure", "accelerator")
"""kinds whose weight a second person reads"""


@dataclass(frozen=True)
class WeighRow:
    """One weighing. `reading_g` is what the scale is to show; None where the weight is withheld or no scale is named."""

    name: str
    kind: str
    when: str
    exact_g: float
    reading_g: float | None
    step_g: float | None
    second_reader: bool
    note: str = ""
    withheld: bool = False
    """the cure calculation has no weight"""

    @property
    def grams(self) -> float:
        """What the scale is to show, else the weight as calculated."""
        return self.exact_g if self.reading_g is None else self.reading_g


def weigh_rows(sheet: Sheet, cure: CureAnswer) -> tuple[WeighRow, ...]:
    """Every line of the sheet in the order of the bowl. Dry goods as the cure calculation rounds them, to the safe side of every limit.

    A cure, accelerator or phosphate has no reading where the cure calculation withholds the list.
    """
    dry = {weight.name: weight for weight in cure.weights}
    scale, coarse = cure.scale, meat_scale(sheet)
    rows = []
    for line in sheet.lines:
        if line.name in dry:
            found = dry[line.name]
            note = "; ".join(filter(None, (found.rounding, found.note)))
            rows.append(_row(line, found.reading_g, scale, note))
        elif line.kind in ("meat", "rework", "ice", "water"):
            rows += _parts(line, coarse)
        elif line.kind in LIMITED or scale is None:
            hidden = line.kind in LIMITED and bool(cure.withheld)
            rows.append(replace(_row(line, None, scale), withheld=hidden))
        else:
            rows.append(_row(line, float(scale.round_g(line.kg * 1000)), scale))
    return tuple(sorted(rows, key=lambda row: ORDER.index(row.when)))


def meat_scale(sheet: Sheet) -> Scale:
    """The scale for meat and ice: as the sheet says, else the ingredient scale, at the least 1 g."""
    own, fine = sheet.process.meat_scale_step_g, sheet.process.scale_step_g
    return Scale(own or max(fine or 0.0, 1.0), name="scale for meat and ice")


def _parts(line: Line, scale: Scale) -> list[WeighRow]:
    """Meat as one row; ice in two, which together weigh what one reading of all of it would."""
    all_g = float(scale.round_g(line.kg * 1000))
    if line.kind != "ice" or not all_g:
        return [_row(line, all_g, scale)]
    first_g = float(scale.round_g(all_g * value("plan_first_ice_pct") / 100))
    halves = (("first part", COLD, first_g), ("rest", LAST, all_g - first_g))
    whole, made = _row(line, all_g, scale), []
    for part, when, g in halves:
        name, exact_g = f"{line.name}, {part}", whole.exact_g * g / all_g
        made.append(replace(whole, name=name, when=when, exact_g=exact_g, reading_g=g))
    return [one for one in made if one.reading_g]


def _row(line: Line, reading_g: float | None, scale: Scale | None, note: str = "") -> WeighRow:
    when = _BY_KIND.get(line.kind, DRY)
    if line.kind == "meat" and line.material.fat_pct >= value("plan_fatty_meat_pct"):
        when = FATTY
    step_g, twice = scale.step_g if scale else None, line.kind in TWICE
    return WeighRow(line.name, line.kind, when, line.kg * 1000, reading_g, step_g, twice, note)
