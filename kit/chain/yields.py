"""From a sheet to the books of its batch: every stage's loss and every yield, weighed beside what was to be expected.

books_of(sheet)     losses, returns, giveaway and yields, each weighed beside what is usual and beside what the chain tells
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import hypot, prod

from kit.chain.cook_yield import (
    BASE,
    Usual,
    cook_yield,
    usual_chill_loss,
    usual_cook_loss,
    usual_cook_loss_of,
)
from kit.chain.follow import Followed, follow, ledger_of
from kit.errors import KitError, OutOfRange, UnknownName, need
from kit.sheet import Sheet
from kit.stages import STAGES
from kit.tables import cite, number, numbers, value
from kit.working import Step, step
from kit.yields import Books, Entry, UnitSlip, at, books, points, sd_of_step, unit_slips
from kit.yields.ledger import ADDITION, GIVEAWAY, IN, OUT, SCRAP, SIGN

CHAIN, EVAPORATION, PLAN, USUAL = (
    "the chain: evaporation, batter and what is usual",
    "the chain: evaporation alone",
    "the sheet's plan",
    "the usual range",
)
COOK_WAYS = (CHAIN, EVAPORATION, PLAN, USUAL)
LOSS, RETURN = "loss", "rework"


@dataclass(frozen=True)
class Expected:
    """What was to be expected, in percent of the same base as the weighed figure beside it. `rests_on` names what it stands on."""

    pct: float
    low_pct: float
    high_pct: float
    rests_on: str
    source: str

    @property
    def sd_pct(self) -> float:
        """The range taken as even: every figure in it as likely."""
        return sd_of_step(self.high_pct - self.low_pct) if self.high_pct > self.low_pct else 0.0


@dataclass(frozen=True)
class Beside:
    """One loss, return or giveaway: weighed, usual in the trade, and as the chain or the sheet tells it. None where nobody tells.

    Losses are percent of all that went into the stage, scrap counted as lost; giveaway of what was packed. `chain` is the one that `expected` prefers.
    """

    what: str
    kind: str
    stage: str
    kg: float | None
    of_kg: float | None
    sd_kg: float | None
    usual: Expected | None
    chain: Expected | None

    @property
    def pct(self) -> float | None:
        return None if self.kg is None else 100 * self.kg / self.of_kg

    @property
    def expected(self) -> Expected | None:
        return self.chain or self.usual

    @property
    def outside(self) -> Expected | None:
        """What the weighed figure lies outside of by more than twice its own doubt: the chain's range, else the usual one."""
        if self.kg is None or self.expected is None:
            return None
        slack = 2 * 100 * (self.sd_kg or 0) / self.of_kg
        return (
            None
            if self.expected.low_pct - slack <= self.pct <= self.expected.high_pct + slack
            else self.expected
        )


@dataclass(frozen=True)
class YieldBeside:
    """The end of the line in percent of one base: weighed, and expected with its range. None where one of them does not know the base."""

    of: str
    base: str
    pct: float | None
    sd_pct: float | None
    with_rework_pct: float | None
    expected_pct: float | None
    low_pct: float | None
    high_pct: float | None


@dataclass(frozen=True)
class BooksOf:
    """The books of one sheet. `weighed` is None for a sheet with fewer than two weighings; `expected` is what the sheet, the chain and usual losses make of the
    same start, additions, rework and samples. `expected_entries` is its ledger."""

    name: str
    entries: tuple[Entry, ...]
    weighed: Books | None
    expected: Books
    expected_entries: tuple[Entry, ...]
    beside: tuple[Beside, ...]
    yields: tuple[YieldBeside, ...]
    cook_by: str
    slips: tuple[UnitSlip, ...]
    pack_g: float | None
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    def loss(self, stage: str) -> Beside:
        """The line of a stage, or of the span that holds it."""
        lines = [b for b in self.beside if b.kind == LOSS]
        for line in lines:
            if stage in line.stage.split(" + "):
                return line
        raise UnknownName(
            "stage of these books", stage, [s for line in lines for s in line.stage.split(" + ")]
        )

    def yield_on(self, base: str) -> YieldBeside:
        for line in self.yields:
            if line.base == base:
                return line
        raise UnknownName("base", base, [y.base for y in self.yields])

    @property
    def giveaway_g_per_pack(self) -> float | None:
        """Mean net weight of a pack less its label."""
        if self.pack_g is None or self.weighed is None or not self.weighed.sold_kg:
            return None
        return self.weighed.giveaway_kg * self.pack_g / self.weighed.sold_kg


def books_of(
    sheet: Sheet,
    followed: Followed | None = None,
    *,
    cook_by: str = CHAIN,
    entries: Iterable[Entry] | None = None,
) -> BooksOf:
    """Books of the sheet's weighings, or of `entries` in their place.

    `followed`: the sheet already followed, with its own calibration; `cook_by`: one of COOK_WAYS, the first that the sheet allows from there on is taken.
    A sheet without weighings gets the books to expect from its plan alone. Raises what the rooms raise.
    """
    if cook_by not in COOK_WAYS:
        raise UnknownName("way to expect the cook", cook_by, COOK_WAYS)
    followed = followed or _followed(sheet)
    entries = ledger_of(sheet) if entries is None else tuple(entries)
    entries, split = _ice_apart(sheet, entries)
    weighed = books(entries) if sum(e.kind in (IN, OUT) for e in entries) >= 2 else None
    told, mute = _told(followed, cook_by)
    losses = {stage: (_usual_of(stage, sheet), told.get(stage)) for stage in STAGES}
    line, notes = _line(sheet, entries if weighed else ())
    ledger, steps = _expected_ledger(line, losses)
    expected = books(ledger)
    beside = _beside(weighed, losses)
    unknown = [stage for stage, _, _ in line if losses[stage] == (None, None)]
    said = (
        *split,
        *notes,
        *mute,
        *(
            b.expected.rests_on
            for b in beside
            if b.kind == LOSS and b.stage == "cook" and b.expected
        ),
        *(
            (
                f"no usual loss is held for {', '.join(unknown)}: none is expected there; your own batches are the yardstick",
            )
            if unknown
            else ()
        ),
        *(
            weighed.notes
            if weighed
            else ("nothing was weighed: these are the books to expect, from the plan alone",)
        ),
    )
    rooms = (
        *(
            followed.cook.cooked.sources
            if cook_by in (CHAIN, EVAPORATION) and "cook" in told and sheet.process.cook
            else ()
        ),
        *(
            followed.holds.held.sources
            if cook_by == CHAIN and "cook" in told and sheet.process.cook
            else ()
        ),
    )
    sources = (
        *(e.source for b in beside for e in (b.usual, b.chain) if e),
        *expected.sources,
        *rooms,
    )
    doubt = {stage: (pair[1] or pair[0]) for stage, pair in losses.items() if any(pair)}
    return BooksOf(
        sheet.name,
        entries,
        weighed,
        expected,
        ledger,
        beside,
        _yields(weighed, expected, doubt),
        cook_by,
        unit_slips(entries) if weighed else (),
        sheet.process.pack_g,
        tuple(dict.fromkeys(said)),
        tuple(dict.fromkeys(sources)),
        (*(weighed.working if weighed else expected.working), *steps),
    )


def _followed(sheet: Sheet) -> Followed:
    """The sheet followed; where its weighed cook yield is impossible, by the planned one, so that the books can still name the slip."""
    try:
        return follow(sheet)
    except OutOfRange:
        return follow(sheet, cook_yield(sheet).pct)


# what is to be expected ----------------------------------------------------------------------------------------------------------------
def usual_loss(
    stage: str, casing: str | None = None, stuffed_mm: float | None = None
) -> Expected | None:
    """The usual loss of a stage in percent of all that goes into it; the cook's by casing and diameter. None where nothing usual is held."""
    return (
        _as_expected(usual_cook_loss_of(casing, stuffed_mm))
        if stage == "cook"
        else _usual(f"yields_loss_{stage}_pct")
    )


def _usual_of(stage: str, sheet: Sheet) -> Expected | None:
    """The same for a sheet, which also says how it is cooked and chilled."""
    return (
        _as_expected({"cook": usual_cook_loss, "chill": usual_chill_loss}[stage](sheet))
        if stage in ("cook", "chill")
        else usual_loss(stage)
    )


def _as_expected(usual: Usual) -> Expected:
    return Expected(usual.pct, usual.low_pct, usual.high_pct, usual.rests_on, usual.source)


def _usual(name: str) -> Expected | None:
    if name not in numbers():
        return None
    row = number(name)
    return Expected(row.value, row.low, row.high, row.where, row.cite())


def _told(followed: Followed, cook_by: str) -> tuple[dict[str, Expected], tuple[str, ...]]:
    """What the chain or the sheet tells of a stage's loss, and why a room could not answer."""
    found, notes = {}, []
    for stage, ask in (
        ("stuff", _tail_told),
        ("cook", lambda f: _cook_told(f, cook_by)),
        ("chill", _chill_told),
    ):
        try:
            answer = ask(followed)
        except KitError as error:
            notes.append(f"{stage}: the chain tells nothing ({error})")
            answer = _planned(followed.sheet) if stage == "cook" and cook_by != USUAL else None
        if answer:
            found[stage] = answer
    return found, tuple(notes)


def _tail_told(followed: Followed) -> Expected:
    plan = followed.links.plan
    one_link = min(100 * plan.link_weight_g / 1000 / plan.batter_kg, 100.0)
    return Expected(
        min(100 * plan.left_kg / plan.batter_kg, one_link),
        0.0,
        one_link,
        "links: the last batter, less than one link; ends and broken links go back as rework",
        cite("kit", "links of the sheet's casing", "computed"),
    )


def _chill_told(followed: Followed) -> Expected | None:
    """Cold air dries the link. Under water nothing dries, and the cooking model does not know the drip: the usual range stands."""
    plan = followed.sheet.process
    if not (plan.cook and plan.chill_medium == "cold air" and plan.chill_min):
        return None
    lost, doubt = 100 - followed.cook.loss.chill_yield_pct, value("yields_evaporation_doubt_points")
    return Expected(
        lost,
        max(lost - doubt, 0.0),
        lost + doubt,
        "cooking model: water that evaporates in cold air; drip left out",
        cite("kit", "drying of the link in the planned chill", "computed"),
    )


def _cook_told(followed: Followed, cook_by: str) -> Expected | None:
    """Loss in the smokehouse alone; the chill has a line of its own."""
    sheet, doubt = followed.sheet, value("yields_evaporation_doubt_points")
    if cook_by == EVAPORATION and sheet.process.cook:
        dried = followed.cook.loss.evaporated_smokehouse_pct
        return Expected(
            dried,
            max(dried - doubt, 0.0),
            dried + doubt,
            "cooking model: water that evaporates, not calibrated to a smokehouse; nothing that the batter releases",
            cite("kit", "heat and drying of the link in the planned schedule", "computed"),
        )
    if cook_by == CHAIN and sheet.process.cook:
        found = followed.expected_yield
        chilled = 1 - found.chill_loss_pct / 100
        return Expected(
            100 - found.smokehouse_pct,
            max(100 - found.high_pct / chilled, 0.0),
            100 - found.low_pct / chilled,
            found.rests_on,
            cite(
                "kit",
                "heat and drying of the link in the planned schedule, batter model and usual yield",
                "computed",
            ),
        )
    return None if cook_by == USUAL else _planned(sheet)


def _planned(sheet: Sheet) -> Expected | None:
    """The plan is a cooked and chilled yield: the usual chill is taken out of it, for the chill stands on a line of its own."""
    if sheet.cook_yield_pct is None:
        return None
    loss, doubt = (
        100 - sheet.cook_yield_pct / (1 - usual_chill_loss(sheet).pct / 100),
        value("yields_evaporation_doubt_points"),
    )
    return Expected(
        loss,
        max(loss - doubt, 0.0),
        loss + doubt,
        f"the sheet plans a cook yield ({BASE}) of {sheet.cook_yield_pct:g} %",
        cite("kit", "planned on the sheet", "teaching"),
    )


# the ledger to expect ------------------------------------------------------------------------------------------------------------------
def _line(
    sheet: Sheet, entries: tuple[Entry, ...]
) -> tuple[tuple[tuple[str, float, tuple[Entry, ...]], ...], tuple[str, ...]]:
    """(stage, kg at the start of the line or NaN, its side flows) for every stage that is expected to happen, in order."""
    if not entries:
        rework = sheet.kg_of("rework")
        put_in = at(
            "chop",
            additions_kg={
                name: kg
                for name, kg in (
                    ("ice", sheet.kg_of("ice", "water")),
                    ("dry goods", _dry_kg(sheet)),
                )
                if kg
            },
            rework_in_kg=rework or None,
        )
        doing = (
            "chop",
            "stuff",
            "cook",
            *(("chill",) if sheet.process.chill_medium else ()),
            *(("peel",) if sheet.process.casing == "cellulose" else ()),
            "pack",
        )
        return tuple(
            (
                stage,
                sheet.meat_kg if stage == "chop" else float("nan"),
                put_in if stage == "chop" else (),
            )
            for stage in doing
        ), ()
    stream, order = points(entries), list(STAGES)
    first, last = stream[0], stream[-1]
    seen = {e.stage for e in entries} | {"cook"}
    between = [
        s
        for s in order
        if order.index(first.stage) <= order.index(s) <= order.index(last.stage) and s in seen
    ]
    if first.kind == OUT:
        between.remove(first.stage)
    if last.kind == IN:
        between.remove(last.stage)
    need(
        bool(between),
        f"only a hand-over is weighed ({first.label}, {last.label}); a yield needs a stage between two weights",
    )
    skipped = [
        s for s in order[order.index(first.stage) : order.index(last.stage)] if s not in seen
    ]
    notes = (
        (f"nothing is written for {', '.join(skipped)}: no loss is expected there",)
        if skipped
        else ()
    )
    return tuple(
        (
            s,
            first.kg if n == 0 else float("nan"),
            tuple(e for e in entries if e.stage == s and e.kind in SIGN and e.kind != SCRAP),
        )
        for n, s in enumerate(between)
    ), notes


def _expected_ledger(line, losses) -> tuple[tuple[Entry, ...], tuple[Step, ...]]:
    found, steps, kg = [], [], line[0][1]
    for stage, _, sides in line:
        all_in = kg + sum(e.kg for e in sides if SIGN[e.kind] > 0)
        aside = sum(e.kg for e in sides if SIGN[e.kind] < 0)
        usual, told = losses[stage]
        pct = (told or usual).pct if told or usual else 0.0
        out = all_in * (1 - pct / 100) - aside
        need(
            out > 0,
            f"more would leave {stage} than the {all_in:.4g} kg that go in; check its rework, its samples and the expected loss",
        )
        found += [*at(stage, kg, out), *(replace(e, sd_kg=None) for e in sides)]
        terms = {
            "I": (all_in, "kg", "went in"),
            "p": (pct, "%", "expected loss"),
            **({"R": (aside, "kg", "rework and samples out")} if aside else {}),
        }
        steps.append(
            step(
                f"expected out of {stage}",
                f"O = I × (1 − p / 100){' − R' if aside else ''}",
                out,
                "kg",
                **terms,
            )
        )
        kg = out
    return tuple(found), tuple(steps)


def _ice_apart(
    sheet: Sheet, entries: tuple[Entry, ...]
) -> tuple[tuple[Entry, ...], tuple[str, ...]]:
    """One weight of everything put in at chop is shown as ice and dry goods, in the sheet's proportions."""
    put_in = [e for e in entries if e.stage == "chop" and e.kind == ADDITION]
    ice, dry = sheet.kg_of("ice", "water"), _dry_kg(sheet)
    if len(put_in) != 1 or put_in[0].name or not (ice and dry):
        return entries, ()
    whole = put_in[0]
    parts = tuple(
        replace(
            whole,
            name=name,
            kg=whole.kg * kg / (ice + dry),
            sd_kg=None if whole.sd_kg is None else whole.sd_kg * (kg / (ice + dry)) ** 0.5,
        )
        for name, kg in (("ice", ice), ("dry goods", dry))
    )
    return (*(e for e in entries if e is not whole), *parts), (
        "one weight is written for all that was put in at chop; it is shown as ice and dry goods as the sheet plans them",
    )


def _dry_kg(sheet: Sheet) -> float:
    return sheet.batch_kg - sheet.kg_of("meat", "ice", "water", "rework")


# side by side --------------------------------------------------------------------------------------------------------------------------
def _beside(weighed: Books | None, losses) -> tuple[Beside, ...]:
    """A line per stage, or per span of stages where a weight between them is missing; after it what went back."""
    if weighed is None:
        return tuple(
            Beside(f"lost in {stage}", LOSS, stage, None, None, None, *losses[stage])
            for stage in STAGES
            if any(losses[stage])
        )
    found = []
    for line in weighed.stages:
        pair = (
            losses[line.stage]
            if line.stage in losses
            else (None, _span([losses[stage] for stage in line.stages]))
        )
        found.append(
            Beside(
                f"lost in {line.stage}",
                LOSS,
                line.stage,
                line.loss_kg,
                line.all_in_kg,
                line.lost_sd_kg,
                *pair,
            )
        )
        if line.rework_out_kg:
            found.append(
                Beside(
                    f"sent back at {line.stage}",
                    RETURN,
                    line.stage,
                    line.rework_out_kg,
                    line.all_in_kg,
                    line.lost_sd_kg,
                    _usual(f"yields_rework_{line.stage}_pct"),
                    None,
                )
            )
    if weighed.giveaway_kg is not None and weighed.end.kg:
        found.append(
            Beside(
                GIVEAWAY,
                GIVEAWAY,
                "pack",
                weighed.giveaway_kg,
                weighed.end.kg,
                None,
                _usual("yields_giveaway_pct"),
                None,
            )
        )
    return tuple(found)


def _span(pairs) -> Expected | None:
    """What stages lose one after the other, as far as each is known."""
    known = [told or usual for usual, told in pairs if told or usual]
    if not known:
        return None
    pct, low, high = (
        100 * (1 - prod(1 - getattr(e, name) / 100 for e in known))
        for name in ("pct", "low_pct", "high_pct")
    )
    return Expected(
        pct,
        low,
        high,
        "one after the other: " + "; ".join(e.rests_on for e in known),
        known[0].source,
    )


def _yields(
    weighed: Books | None, expected: Books, doubt: dict[str, Expected]
) -> tuple[YieldBeside, ...]:
    """Every base that either knows, in the order of the line. Ranges of the stages after the base add in quadrature, up and down apart."""
    mine, theirs = (
        {y.base: y for y in kept.yields} if kept else {} for kept in (weighed, expected)
    )
    place = {b.name: b.place for kept in (weighed, expected) if kept for b in kept.bases}
    found = []
    for base in sorted(mine | theirs, key=place.__getitem__):
        w, x = mine.get(base), theirs.get(base)
        after = [
            doubt[line.stage]
            for line in expected.stages
            if line.stage in doubt and list(STAGES).index(line.stage) + 0.75 > place[base]
        ]
        up = hypot(*((e.pct - e.low_pct) / (100 - e.pct) for e in after))
        down = hypot(*((e.high_pct - e.pct) / (100 - e.pct) for e in after))
        found.append(
            YieldBeside(
                (w or x).of,
                base,
                *((w.pct, w.sd_pct, w.with_rework_pct) if w else (None,) * 3),
                *(
                    (x.pct, x.pct * max(1 - down, 0.0), x.pct * (1 + up))
                    if x and after and (not w or w.of == x.of)
                    else (None,) * 3
                ),
            )
        )
    return tuple(found)
