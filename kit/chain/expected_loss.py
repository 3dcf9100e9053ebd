"""What is a stage expected to lose: as usual in the trade, and as the batch model or the sheet says?"""

from collections.abc import Sequence
from math import prod

from kit.casing.peel import peeled_casing
from kit.chain.cook_yield import BASE, Expected, usual_chill_loss
from kit.chain.follow import Followed
from kit.errors import attempt
from kit.sheet import Sheet
from kit.tables import cite, value

MODEL, EVAPORATION, PLAN, USUAL = (
    "batch model and usual yield",
    "evaporation alone",
    "the sheet's plan",
    "the usual range",
)
COOK_WAYS = (MODEL, EVAPORATION, PLAN, USUAL)


def one_after_other(known: Sequence[Expected]) -> Expected | None:
    """What stages lose one after the other, as far as each is known."""
    if not known:
        return None
    pct, low, high = (
        100 * (1 - prod(1 - getattr(e, name) / 100 for e in known))
        for name in ("pct", "low_pct", "high_pct")
    )
    rests_on = "one after the other: " + "; ".join(e.rests_on for e in known)
    return Expected(pct, low, high, rests_on, known[0].sources)


def calculated_losses(
    followed: Followed, cook_by: str
) -> tuple[dict[str, Expected], tuple[str, ...]]:
    """What the models or the sheet say of a stage's loss, and why a model could not answer."""
    found, notes = {}, []
    asked = {
        "stuff": lambda: _tail(followed),
        "rest": lambda: _rest(followed),
        "cook": lambda: _cook(followed, cook_by),
        "chill": lambda: _chill(followed),
        "peel": lambda: _peel(followed),
    }
    for stage, ask in asked.items():
        answer, why = attempt(ask)
        if why:
            notes.append(f"{stage}: the batch model gives no answer ({why})")
            answer = _planned(followed.sheet) if stage == "cook" and cook_by != USUAL else None
        if answer:
            found[stage] = answer
    return found, tuple(notes)


def _about(
    lost_pct: float, rests_on: str, where: str, *models: str, status: str = "computed"
) -> Expected:
    """With the uncertainty of calculated evaporation on either side. `models`: sources of the models."""
    off, sources = value("yields_evaporation_sd_points"), (cite("kit", where, status), *models)
    return Expected(lost_pct, max(lost_pct - off, 0.0), lost_pct + off, rests_on, sources)


def _tail(followed: Followed) -> Expected:
    plan = followed.links
    one_link = min(100 * plan.link_weight_g / 1000 / plan.batter_kg, 100.0)
    rests_on = "links: the last batter, less than one link; ends and broken links go back as rework"
    sources = (cite("kit", "links of the sheet's casing", "computed"),)
    left = min(100 * plan.left_kg / plan.batter_kg, one_link)
    return Expected(left, 0.0, one_link, rests_on, sources)


def _rest(followed: Followed) -> Expected | None:
    if followed.cook is None or not followed.cook.rested_pct:
        return None
    rests_on = "cooking model: water that evaporates uncovered in the refrigerator"
    return _about(followed.cook.rested_pct, rests_on, "drying of the link in the planned rest")


def _chill(followed: Followed) -> Expected | None:
    """Cold air dries the link. Under water nothing dries, and nobody calculates the drip."""
    plan = followed.sheet.process
    dries = plan.cook and plan.chill_medium == "cold air" and plan.chill_min
    if not dries or followed.cook is None:
        return None
    rests_on = "cooking model: water that evaporates in cold air; drip left out"
    lost_pct = 100 - followed.cook.loss.chill_yield_pct
    return _about(lost_pct, rests_on, "drying of the link in the planned chill")


def _peel(followed: Followed) -> Expected | None:
    """The casing's own weight, where the sheet says that it is peeled and the wall is known: cellulose."""
    plan = followed.sheet.process
    if plan.peeled != "yes" or plan.casing != "cellulose":
        return None
    chilled = followed.expected_yield.pct if followed.expected_yield else followed.cook_yield.pct
    made = followed.links.casing
    found = peeled_casing(made.diameter_mm, made.density.kg_per_m3, chilled)
    rests_on = "the casing's own weight, wet; meat that sticks to it is left out"
    return Expected(found.pct, found.low_pct, found.high_pct, rests_on, found.sources[:1])


def _cook(followed: Followed, cook_by: str) -> Expected | None:
    """Loss in the smokehouse alone; the chill has a line of its own."""
    if cook_by == USUAL:
        return None
    cook, found = followed.cook, followed.expected_yield
    if cook_by == PLAN or cook is None or found is None:
        return _planned(followed.sheet)
    schedule = "heat and drying of the link in the planned schedule"
    rested, heat = 1 - cook.rested_pct / 100, cook.cooked.sources
    if cook_by == EVAPORATION:
        left = (1 - cook.loss.evaporated_smokehouse_pct / 100) / rested
        rests_on = "cooking model: water that evaporates, not calibrated to a smokehouse; nothing that the batter releases"
        return _about(100 * (1 - left), rests_on, schedule, *heat)
    kept = rested * (1 - found.chill_loss_pct / 100)
    both = cite("kit", f"{schedule}, batter model and usual yield", "computed")
    return Expected(
        100 - found.smokehouse_pct / rested,
        max(100 - found.high_pct / kept, 0.0),
        100 - found.low_pct / kept,
        found.rests_on,
        (both, *heat, *followed.emulsion.held.sources),
    )


def _planned(sheet: Sheet) -> Expected | None:
    """The plan is a cooked and chilled yield: the usual chill, a line of its own, is taken out."""
    if sheet.cook_yield_pct is None:
        return None
    lost_pct = 100 - sheet.cook_yield_pct / (1 - usual_chill_loss(sheet).pct / 100)
    rests_on = f"the sheet plans a cook yield ({BASE}) of {sheet.cook_yield_pct:g} %"
    return _about(lost_pct, rests_on, "planned on the sheet", status="teaching")
