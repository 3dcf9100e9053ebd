"""What the batch model expects each recipe to yield, so that a change of recipe is not taken for a change of process."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kit.batches import BatchTable
from kit.chain.follow import follow
from kit.errors import KitError, UnknownName, need
from kit.reading import read_sheet
from kit.reading.words import note, plain
from kit.sheet import Sheet
from kit.working import Result


@dataclass(frozen=True)
class Yardstick(Result):
    """One recipe's expected yields, percent of what goes into the stage. `chill_pct` is None where its sheet plans no chill."""

    recipe: str
    sheet: str
    cook_pct: float
    chill_pct: float | None


def yardstick_of(recipe: str, sheet: Sheet) -> Yardstick:
    """Smokehouse and chill of this sheet by the models alone: good for differences between recipes, for what is usual says nothing of a recipe.

    Its level is uncalibrated: 2 or 3 percentage points and more. KitError, with the recipe named, where a sheet plans no cook.
    """
    try:
        followed = follow(sheet)
        answer = followed.cook
    except KitError as cause:
        raise KitError(f"recipe {recipe}: {cause}") from None
    if answer is None:
        raise KitError(
            f"recipe {recipe}: {sheet.name} plans no cook step; give at least one with its duration, dry bulb and humidity"
        )
    chilled = bool(sheet.process.chill_medium and sheet.process.chill_min)
    return Yardstick(
        recipe,
        sheet.name,
        answer.loss.smokehouse_yield_pct,
        answer.loss.chill_yield_pct if chilled else None,
        own_notes=answer.notes,
        own_sources=(*answer.cooked.sources, *followed.emulsion.sources),
        own_working=answer.loss.working,
    )


def judged_by(
    table: BatchTable, recipes: Mapping[str, Sheet | str]
) -> tuple[BatchTable, tuple[Yardstick, ...], tuple[str, ...]]:
    """The table with expected yields of cook, chill and overall; the yardsticks; notes. `recipes`: {as the records call it: Sheet, or a path to one}.

    Overall: the plant's own mean for the stages of which the batch model says nothing. UnknownName for a recipe that the records do not hold, KitError where no
    column says which recipe a batch followed.
    """
    labels = table.labels.get("recipe", table.labels.get("product", np.array([], str)))
    need(labels.size > 0, note("no recipe"))
    said = [plain(text) for text in labels]
    written = {key: str(text) for key, text in zip(said, labels) if key}
    found: dict[str, Yardstick] = {}
    for name, sheet in recipes.items():
        key = plain(name)
        if key not in written:
            raise UnknownName("recipe of these records", name, written.values())
        sheet = sheet if isinstance(sheet, Sheet) else read_sheet(sheet)
        found[key] = yardstick_of(written[key], sheet)
    expected: dict[str, np.ndarray] = {}
    for stage in ("cook", "chill"):
        values = np.array([getattr(found.get(key), f"{stage}_pct", None) for key in said], float)
        if stage in table.stages and np.isfinite(values).any():
            expected[stage] = values
    need(bool(expected), note("no stage"))
    weighed = np.prod(
        [1 - table.loss_pct[:, table.place(stage)] / 100 for stage in expected], axis=0
    )
    rest = table.overall_yield_pct / weighed
    if np.isfinite(rest).any():
        together = np.prod([values / 100 for values in expected.values()], axis=0)
        expected["overall"] = np.nanmean(rest) * together
    notes = [
        note("expected", recipe=one.recipe, sheet=one.sheet, cook=one.cook_pct)
        for one in found.values()
    ]
    left = Counter(key for key in said if key not in found).items()
    unknown = [f"{written.get(key, 'none written')} ({count} batches)" for key, count in left]
    if unknown:
        notes.append(note("unknown", recipes=", ".join(unknown)))
    notes.append(note("level"))
    return table.changed(expected_yield_pct=expected), tuple(found.values()), tuple(notes)
