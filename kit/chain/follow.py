"""What is the result of one sheet, from the bowl to the ledger?"""

from dataclasses import dataclass, field
from datetime import date
from functools import cached_property, lru_cache

import numpy as np

from kit import tables
from kit.allergens import Named, allergens_in
from kit.casing import LinkPlan
from kit.chain.casing import links_of
from kit.chain.chop import ChopAnswer, chop_of
from kit.chain.cook import CookAnswer, cook_of
from kit.chain.cook_yield import BASE, CookYield, ExpectedYield, cook_yield, expected_yield
from kit.chain.cure import CureAnswer, cure_of
from kit.chain.emulsion import EmulsionAnswer, emulsion_of
from kit.emulsion.calibrate import Calibration
from kit.emulsion.model import LIMIT_WORDS
from kit.errors import OutOfRange, attempt
from kit.faults import need_said
from kit.materials import Material
from kit.meat_block import Composition, uncertainty
from kit.meat_block.mix import cooked
from kit.meat_block.uncertainty import FatUncertainty, cloud
from kit.rules import judge, rule_set
from kit.rules.facts import added_water_pct, facts_of
from kit.rules.room import RoomLeft, room_left
from kit.rules.rule_sets import RuleSet
from kit.rules.verdicts import Verdict, tightest
from kit.sheet import Sheet
from kit.working import Step, notes_of
from kit.yields import MassBalance, WeightEntry, mass_balance
from kit.yields.ledger import IN, OUT, at

DRAWS, SEED = 10_000, 11


@dataclass(frozen=True)
class Spread:
    """What the uncertainty of fat does to sums that are no straight line: 90 % intervals, % of the finished product."""

    draws: int
    fat_and_added_water_pct: tuple[float, float]
    moisture_to_protein: tuple[float, float]
    _fat_and_added_water: np.ndarray = field(repr=False, compare=False)

    def chance_over(self, fat_and_added_water_pct: float) -> float:
        """The share of draws in which fat and added water together lie over this."""
        return float(np.mean(self._fat_and_added_water > fat_and_added_water_pct))


@dataclass(frozen=True)
class Followed:
    """Every room's answer for one sheet.

    Later rooms (`cure`, `chop`, `emulsion`, `links`, `cook`) answer when first asked, so that a slider
    pays only for what is shown.
    """

    sheet: Sheet
    batter: Composition
    finished: Composition
    cook_yield: CookYield
    fat: FatUncertainty
    rules: RuleSet | None
    verdicts: tuple[Verdict, ...]
    mass_balance: MassBalance | None
    notes: tuple[str, ...]
    calibration: Calibration | None = None
    cure_rule: str = ""
    on: date | None = None
    """the day whose law is applied"""

    @cached_property
    def spread(self) -> Spread | None:
        """Mixes with the fat of each lot drawn from its interval, always the same; None where it is certain."""
        if not self.fat.sd_pct:
            return None
        rng, y = np.random.default_rng(SEED), self.cook_yield.pct
        drawn = cloud(self.sheet.materials, self.sheet.kg, rng, DRAWS, y)
        wet = (drawn.water_pct, drawn.protein_pct, drawn.group2_protein_pct)
        both, ratio = drawn.fat_pct + added_water_pct(*wet), drawn.moisture_to_protein
        ends = [tuple(np.quantile(each, (0.05, 0.95)).tolist()) for each in (both, ratio)]
        return Spread(DRAWS, ends[0], ends[1], both)

    def room_for(self, what: Material) -> tuple[RoomLeft, RoomLeft]:
        """How much of this material may still go in before each limit, before and after the cook. Needs a rule set."""
        if self.rules is None:
            raise OutOfRange("room is left before limits; this sheet names no rule set")
        after = room_left(self.batter, self.rules, self.cook_yield.pct, what)
        return room_left(self.batter, self.rules, 100.0, what), after

    @cached_property
    def cure(self) -> CureAnswer:
        """Dose on every basis, traps, brine, weigh list."""
        return cure_of(self.sheet, self.finished.total_kg, self.cure_rule, self.on)

    @cached_property
    def chop(self) -> ChopAnswer:
        """How warm the batter ends."""
        return chop_of(self.sheet)

    @cached_property
    def emulsion(self) -> EmulsionAnswer:
        """The emulsion's margins and the cook-out, at the final temperature of `chop`: measured, else planned, else predicted."""
        return emulsion_of(self.sheet, self.calibration, end_C=self.chop.end_C)

    @cached_property
    def links(self) -> LinkPlan:
        """How many links, how heavy, how much casing."""
        return links_of(self.sheet)

    @cached_property
    def cook(self) -> CookAnswer | None:
        """What one link goes through in smokehouse and chill, with the water and fat that its batter releases. None without cook steps."""
        if not self.sheet.process.cook:
            return None
        fat = float(self.emulsion.held.fat_out_g)
        rest = float(self.emulsion.held.total_out_g) - fat
        return cook_of(self.sheet, rest, fat, start_C=self.chop.end_C, on=self.on)

    @cached_property
    def expected_yield(self) -> ExpectedYield | None:
        """Cooked and chilled yield to expect: the models and what is usual for this casing and diameter, each by its own uncertainty. None without cook steps."""
        if self.cook is None:
            return None
        low, _, high = (float(q) for q in self.emulsion.spread.total_out_g)
        out = float(self.emulsion.held.total_out_g)
        scale = (min(low / out, 1.0), max(high / out, 1.0)) if out else (1.0, 1.0)
        return expected_yield(self.sheet, self.cook.loss, self.cook.rested_pct, scale)

    @property
    def ingredient_names(self) -> tuple[str, ...]:
        """The names of the lines and of their materials, each once."""
        pairs = ((line.name, line.material.name) for line in self.sheet.lines)
        return tuple(dict.fromkeys(name for pair in pairs for name in pair))

    @property
    def allergens(self) -> tuple[Named, ...]:
        """What the names bring; `unread_labels` are the rest."""
        return allergens_in(self.ingredient_names, self.on)

    @property
    def unread_labels(self) -> tuple[str, ...]:
        """Lines whose allergens only their label tells."""
        return tuple(line.name for line in self.sheet.of_kind("spice", "rework", "other"))

    @property
    def broken(self) -> tuple[Verdict, ...]:
        """The rules that do not hold."""
        return tuple(verdict for verdict in self.verdicts if verdict.holds is False)

    @property
    def tightest(self) -> Verdict | None:
        """The rule with the smallest margin in parts of its limit."""
        return tightest(self.verdicts)

    @property
    def sources(self) -> tuple[str, ...]:
        judged = (v.source for v in self.verdicts)
        weighed = self.mass_balance.sources if self.mass_balance else ()
        return tuple(dict.fromkeys((*self.finished.sources, *judged, *weighed)))

    @property
    def working(self) -> tuple[Step, ...]:
        return (*self.finished.working, *self.fat.working)

    def __str__(self) -> str:
        mix, end = self.batter, self.finished
        lines = [
            f"{self.sheet.name}: {mix.total_kg:.1f} kg batter from {mix.meat_kg:.1f} kg meat",
            f"finished at {self.cook_yield.pct:.1f} % cook yield ({BASE}, {self.cook_yield.origin}): fat {end.fat_pct:.1f} %, "
            f"water {end.water_pct:.1f} %, protein {end.protein_pct:.1f} %, salt {end.salt_pct:.2f} %",
        ]
        if rules := self.rules:
            held = rules.not_in_force(self.on) or f"{rules}, applied on {self.on}"
            lines.append(f"rules: {held}")
        lines += map(_verdict_words, self.verdicts)
        for words in (
            self._cure_words,
            self._chop_words,
            lambda: f"{self.links.links} links of {self.links.link_weight_g:.0f} g",
            self._cooked_words,
            self._allergen_words,
        ):
            said, why = attempt(words)  # one room that cannot answer does not silence the others
            lines.append(said or f"not computed: {why}")
        if self.mass_balance:
            lines.append(
                f"{self.mass_balance.all_in_kg:.1f} kg went in, {self.mass_balance.end.kg:.1f} kg {self.mass_balance.yields[0].of}, "
                f"unrecorded loss {self.mass_balance.unrecorded_kg:.2f} kg"
            )
        return "\n".join(lines)

    def _cure_words(self) -> str:
        cure, stop = self.cure, ""
        if cure.withheld:
            stop = f"{'; STOP' if cure.findings.stop else chr(10) + 'weigh list withheld'}: {cure.withheld}"
        return f"cure: {cure.dose.ppm_of_meat:.0f} mg/kg ingoing sodium nitrite on the meat; {cure.law}{stop}"

    def _allergen_words(self) -> str:
        named, unread = "; ".join(map(str, self.allergens)) or "none", ", ".join(self.unread_labels)
        return f"allergens by name: {named}" + f"; read the label of {unread}" * bool(unread)

    def _chop_words(self) -> str:
        chop, held, left = self.chop, self.emulsion, ""
        if chop.chopped.ice_left_kg > 0.005:
            left = f" with {chop.chopped.ice_left_kg:.2f} kg of its water still frozen"
        margin, end = (
            text.replace("-", "−")
            for text in (f"{held.held.margins[held.fails_first]:+.2f}", f"{chop.end_C:.1f}")
        )
        return (
            f"final chopping temperature {end} °C{left} ({chop.end_from}; specific mechanical energy {chop.energy_kJ_per_kg:.0f} kJ/kg, {chop.energy_from}; "
            f"estimate of the chopping model {chop.estimate_C:.1f} °C); smallest emulsion margin: {LIMIT_WORDS[held.fails_first]}, {margin}; "
            f"predicted cook-out {held.held.total_out_g:.1f} % of the batter (teaching model)"
        )

    def _cooked_words(self) -> str:
        found = self.expected_yield
        if self.cook is None or found is None:
            return "the sheet plans no cook steps"
        target = self.cook.cooked.targets[0]
        holds = {"reached": target.reached, "never": not target.reached}
        known = {"target": target, "more": self.cook.more_words, "base": BASE}
        return "\n".join(
            notes_of("cook in words", holds, found=found, loss=self.cook.loss, **known)
        )


def _verdict_words(v: Verdict) -> str:
    bound = f"limit {v.limit.limit:g} {v.limit.unit} {'max' if v.limit.is_upper else 'min'} {v.limit.basis}".replace(
        "  ", " "
    )
    if v.holds is None:
        return f"not judged: {v.limit.title}, {bound}"
    state = "within limit" if v.holds else "LIMIT EXCEEDED" if v.limit.is_upper else "BELOW MINIMUM"
    return f"{state}: {v.limit.title} {v.value:.2f} {v.limit.unit}, {bound}".replace(" ,", ",")


def follow(
    sheet: Sheet,
    cook_yield_pct: float | None = None,
    rules: RuleSet | None = None,
    calibration: Calibration | None = None,
    cure_rule: str = "",
    on: date | None = None,
) -> Followed:
    """Follow a sheet through all rooms.

    sheet: one batch, planned or weighed
    cook_yield_pct: cooked and chilled weight of 100 raw, 1 to 100 %; overrides what the sheet planned and weighed
    rules: a rule set of the person's own; the sheet's choice where left out, and none where it names none
    calibration: the plant's own calibration of the emulsion model
    cure_rule: jurisdiction of the cure limits; '' takes the sheet's own choice, else US
    on: day whose law is applied; today where left out
    Returns Followed: the modules' results; later rooms answer when first asked.
    Raises OutOfRange or UnknownName where a room cannot answer for impossible amounts, or the sheet is none.
    Source: that of each room; see `sources`.
    """
    need_said(isinstance(sheet, Sheet), "follow no sheet", sheet=sheet)
    kept = balance_of(ledger_of(sheet))
    got = cook_yield(sheet, kept, cook_yield_pct)
    batter = sheet.composition
    rules = rules or (rule_set(sheet.rule) if sheet.rule else None)
    finished = cooked(batter, got.pct)
    on = on or tables.today()
    notes = (
        *sheet.notes,
        *((rules.not_in_force(on),) if rules else ()),
        *got.notes,
        *finished.notes,
        *(kept.notes if kept else ()),
    )
    return Followed(
        sheet,
        batter,
        finished,
        got,
        uncertainty(sheet.materials, sheet.kg, got.pct),
        rules,
        judge(facts_of(batter, got.pct), rules) if rules else (),
        kept,
        tuple(dict.fromkeys(filter(None, notes))),
        calibration,
        cure_rule,
        on,
    )


def ledger_of(sheet: Sheet) -> tuple[WeightEntry, ...]:
    """The sheet's weighings as ledger entries."""
    return tuple(
        entry
        for weighing in sheet.weighings
        for entry in at(**{key: kg for key, kg in vars(weighing).items() if key != "note"})
    )


@lru_cache(maxsize=8)
def balance_of(entries: tuple[WeightEntry, ...]) -> MassBalance | None:
    """The mass balance of these weights; None where fewer than two are of the stream."""
    several = sum(entry.kind in (IN, OUT) for entry in entries) >= 2
    return mass_balance(entries) if several else None
