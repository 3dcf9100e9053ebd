"""What is left of 100 kg raw: out of the smokehouse, and after the chill? Weighed, planned, usual or calculated; every other file asks here.

smokehouse yield            weight out of the smokehouse, percent of the weight into it
cooked and chilled yield    weight out of the chill, percent of the weight into the smokehouse: what a sheet's `cook_yield_pct` means
"""

from dataclasses import dataclass, replace
from math import hypot, inf

from kit.cook.cooked import Cooked
from kit.errors import need_between
from kit.materials.composition import SDS_TO_90
from kit.sheet import Sheet
from kit.sheet.entries import GRILL
from kit.tables import Number, number, numbers, value
from kit.working import Result, Step, working_of
from kit.yields import MassBalance
from kit.yields.reconcile import sd_of_step

PLANNED, WEIGHED, USUAL = "planned", "weighed", "usual"
BASE = "cooked and chilled"


@dataclass(frozen=True)
class CookYield:
    """Cooked and chilled yield, `pct`, and where it comes from. A sample is not a loss: it counts with what its stage yielded."""

    pct: float
    origin: str
    weighed_pct: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Expected:
    """A loss or a yield to be expected, in percent of the same base as the weighed figure beside it."""

    pct: float
    low_pct: float
    high_pct: float
    rests_on: str
    sources: tuple[str, ...]
    own_sd_pct: float | None = None

    @property
    def sd_pct(self) -> float:
        """One standard deviation; where none is known, the range is taken as even: every figure in it as likely."""
        if self.own_sd_pct is not None:
            return self.own_sd_pct
        return sd_of_step(self.high_pct - self.low_pct) if self.high_pct > self.low_pct else 0.0


def usual(name: str) -> Expected | None:
    """A row of data/reference as an expectation; None where there is none of that name."""
    return _of_row(number(name)) if name in numbers() else None


def _of_row(row: Number) -> Expected:
    return Expected(row.value, row.low, row.high, row.where, (row.cite(),))


@dataclass(frozen=True)
class CookLoss(Result):
    """What leaves, percent of the raw weight. `released_pct`: water and solids that the gel lets go, None where nobody says.

    Released water feeds the surface and evaporates there; of what exceeds evaporation `drip_share` drips. In a sealed casing all of it stays.
    """

    evaporated_smokehouse_pct: float
    evaporated_chill_pct: float
    released_pct: float | None
    fat_pct: float
    drip_share: float
    sealed: bool

    @property
    def evaporated_pct(self) -> float:
        return self.evaporated_smokehouse_pct + self.evaporated_chill_pct

    @property
    def drip_pct(self) -> float:
        beyond = (self.released_pct or 0.0) - self.evaporated_smokehouse_pct
        return 0.0 if self.sealed else self.drip_share * max(beyond, 0.0)

    @property
    def fat_out_pct(self) -> float:
        return 0.0 if self.sealed else self.fat_pct

    @property
    def smokehouse_yield_pct(self) -> float:
        return 100 - self.evaporated_smokehouse_pct - self.drip_pct - self.fat_out_pct

    @property
    def cooked_chilled_yield_pct(self) -> float:
        return self.smokehouse_yield_pct - self.evaporated_chill_pct

    @property
    def chill_yield_pct(self) -> float:
        """Of the weight into the chill."""
        return 100 * self.cooked_chilled_yield_pct / self.smokehouse_yield_pct

    @property
    def working(self) -> tuple[Step, ...]:
        return working_of(
            "cook loss",
            e=self.evaporated_smokehouse_pct,
            c=self.evaporated_chill_pct,
            r=self.released_pct or 0.0,
            s=0.0 if self.sealed else self.drip_share,
            d=self.drip_pct,
            f=self.fat_out_pct,
            y=self.cooked_chilled_yield_pct,
        )


@dataclass(frozen=True)
class ExpectedYield(Result):
    """Expected cooked and chilled yield with its 90 % interval: the models and the usual yield, each weighted by 1 / sd²."""

    pct: float
    low_pct: float
    high_pct: float
    smokehouse_pct: float
    chill_loss_pct: float
    model: CookLoss
    usual: Expected
    rests_on: str


def cook_yield(
    sheet: Sheet, kept: MassBalance | None = None, asked_pct: float | None = None
) -> CookYield:
    """The cooked and chilled yield that composition and rules stand on: asked for, else weighed, else planned, else usual for this casing and diameter."""
    weighed, notes = _weighed_yield(kept)
    if asked_pct is not None:
        remedy = "a cooked product cannot weigh more than its batter"
        pct, origin = need_between("cook yield in percent", asked_pct, 1, 100, remedy), PLANNED
    elif weighed is not None and weighed <= 100:
        pct, origin = weighed, WEIGHED
    elif sheet.cook_yield_pct is not None:
        pct, origin = sheet.cook_yield_pct, PLANNED
    else:
        pct, origin = usual_yield(sheet).pct, USUAL
    return CookYield(pct, origin, weighed, notes)


def _weighed_yield(kept: MassBalance | None) -> tuple[float | None, tuple[str, ...]]:
    """Cooked and chilled yield (None where the weights do not say), and notes. Samples and rework count as what the stage yielded."""
    lines = {line.stages: line.good_pct for line in kept.stages} if kept else {}
    both, cook, chill = (lines.get(stages) for stages in (("cook", "chill"), ("cook",), ("chill",)))
    if both is not None:
        return both, ()
    if cook is None:
        spans = [line.stage for line in kept.stages if "cook" in line.stages] if kept else []
        said = (f"the weights span {span}: no cook yield is taken from them" for span in spans)
        return None, tuple(said)
    if chill is not None:
        return cook * chill / 100, ()
    row = number("yields_loss_chill_pct")
    note = f"only the smokehouse was weighed ({cook:.1f} %); for the chill the usual loss of {row.value:g} % is taken ({row.status_in_words})"
    return cook * (1 - row.value / 100), (note,)


def usual_loss(sheet: Sheet, stage: str) -> Expected | None:
    """The usual loss of a stage of this sheet, % of all that goes into it; None where none is held."""
    if stage == GRILL and not sheet.process.finish:
        return None
    if stage == "chill":
        return usual_chill_loss(sheet)
    return usual_cook_loss(sheet) if stage == "cook" else usual(f"yields_loss_{stage}_pct")


def usual_cook_loss(sheet: Sheet) -> Expected:
    """Usual loss in the smokehouse by casing, diameter and way of cooking; nothing dries where every step is water or steam."""
    kind, casing, steps = "cook", sheet.process.casing, sheet.process.house
    if casing == "plastic":
        kind = "cook_impermeable"
    elif steps and all(each.kind in ("hot water", "shower", "steam") for each in steps):
        kind = "cook_moist"
    elif (sheet.process.stuffed_mm or 0.0) >= value("yields_large_mm"):
        kind = "cook_large"
    elif casing in ("natural sheep", "natural hog"):
        kind = "cook_natural"
    return _of_row(number(f"yields_loss_{kind}_pct"))


def usual_chill_loss(sheet: Sheet) -> Expected:
    """A sealed casing gains and loses nothing in the chill."""
    found = _of_row(number("yields_loss_chill_pct"))
    if sheet.process.casing == "plastic":
        return replace(found, pct=0.0, low_pct=0.0, high_pct=0.0)
    return found


def usual_yield(sheet: Sheet, rested_pct: float = 0.0) -> Expected:
    """Usual cooked and chilled yield: published for frankfurters in cellulose, else from the usual losses.

    `rested_pct`: of the raw weight, evaporated in a rest before the cook, which no usual yield holds; it is taken off.
    """
    loss, chill = usual_cook_loss(sheet), usual_chill_loss(sheet)
    pct, sd = (100 - loss.pct) * (1 - chill.pct / 100), hypot(loss.sd_pct, chill.sd_pct)
    rests_on, sources, most = loss.rests_on, loss.sources, 100.0
    if loss == _of_row(number("yields_loss_cook_pct")):
        row = number("usual_cook_yield_pct")
        pct, sd, sources = row.value, value("usual_cook_yield_sd_pct"), (row.cite(),)
        rests_on, most = "published yield of frankfurters in cellulose casing", inf
    if rested_pct:
        pct, sd = (share * (1 - rested_pct / 100) for share in (pct, sd))
        rests_on = f"{rests_on}, less the {rested_pct:.1f} % of the rest"
    wide = SDS_TO_90 * sd
    return Expected(pct, pct - wide, min(pct + wide, most), rests_on, sources, sd)


def loss_of(
    cooked: Cooked,
    chilled: bool,
    released_pct: float | None = None,
    fat_pct: float = 0.0,
    sealed: bool = False,
) -> CookLoss:
    """The models' loss for one calculated course; `chilled`: its last stage is the chill."""
    lost = [stage.lost_pct for stage in cooked.stages]
    house, chill = (sum(lost[:-1]), lost[-1]) if chilled else (sum(lost), 0.0)
    return CookLoss(house, chill, released_pct, fat_pct, value("cook_drip_share"), sealed)


def expected_yield(
    sheet: Sheet, model: CookLoss, rested_pct: float, batter_scale: tuple[float, float]
) -> ExpectedYield:
    """The models and the usual yield together. `rested_pct`: as for `usual_yield`. `batter_scale`: ends of the 90 % interval of what the batter releases, over its middle.

    Evaporation is not known better than `yields_evaporation_sd_points` without a calibration of the smokehouse, and a tube test is no calibration of it.
    Of a chill under water the models know nothing: the usual chill loss is taken off theirs.
    """

    def of(scale):
        released, fat = (model.released_pct or 0.0) * scale, model.fat_pct * scale
        moved = replace(model, evaporated_chill_pct=0.0, released_pct=released, fat_pct=fat)
        return 100 - moved.smokehouse_yield_pct

    usual, chill, plan = usual_yield(sheet, rested_pct), usual_chill_loss(sheet), sheet.process
    water_chilled = not (plan.chill_medium == "cold air" and plan.chill_min)
    low_scale, high_scale = batter_scale
    chill_pct = chill.pct if water_chilled else 100 - model.chill_yield_pct
    modelled = model.smokehouse_yield_pct * (1 - chill_pct / 100)
    sd = hypot(
        value("yields_evaporation_sd_points"),
        (of(high_scale) - of(low_scale)) / (2 * SDS_TO_90),
        chill.sd_pct if water_chilled else 0.0,
    )
    rests_on = f"usual {usual.pct:.1f} ± {usual.sd_pct:.1f} % ({usual.rests_on})"
    wide = SDS_TO_90 * sd * usual.sd_pct / hypot(sd, usual.sd_pct)
    share, weight = usual.sd_pct**2 / (usual.sd_pct**2 + sd**2), "su^2 / (su^2 + sm^2)"
    if model.sealed:
        share, wide, weight = 0.0, SDS_TO_90 * usual.sd_pct, "0 × sm"
        rests_on = f"{rests_on}: nothing leaves a sealed casing until it is stripped"
    else:
        rests_on = (
            f"models {modelled:.1f} % ({model.evaporated_smokehouse_pct:.1f} % evaporates, {model.drip_pct:.1f} % drips, {model.fat_out_pct:.1f} % fat), uncertainty "
            f"{sd:.1f} percentage points; {rests_on}; not calibrated to this smokehouse"
        )
    pct = share * modelled + (1 - share) * usual.pct
    steps = working_of(
        "expected yield",
        e=model.evaporated_smokehouse_pct,
        d=model.drip_pct,
        f=model.fat_out_pct,
        c=chill_pct,
        m=modelled,
        u=usual.pct,
        su=usual.sd_pct,
        sm=sd,
        w=share,
        y=pct,
        weight=weight,
    )
    rows = ("cook_drip_share", "yields_evaporation_sd_points")
    return ExpectedYield(
        pct,
        pct - wide,
        min(pct + wide, 100.0),
        pct / (1 - chill_pct / 100),
        chill_pct,
        model,
        usual,
        rests_on,
        own_sources=(*usual.sources, *(number(row).cite() for row in rows)),
        own_working=steps,
    )
