"""What is done at each stage of this batch, how warm and how long, what bites there, and what is written down?"""

from collections.abc import Iterator
from dataclasses import dataclass

from kit import units
from kit.chain.casing import HANDS
from kit.chain.chop import BLADES
from kit.chain.cook import HOT, RESTING
from kit.cure import cautions as cure_cautions
from kit.lethality import cautions as kill_cautions
from kit.plan.batch_plan import BatchPlan
from kit.sheet import CookStep
from kit.working import notes_of

PROBE = "Probe a thick link in the coldest place; check the probe in melting ice first."
COLD = "It is no safety step: keep it cold."
SERVE = "To serve: from the refrigerator, until it is steaming hot inside."
LIFT = "Full tubs are heavy: lift with two, or in smaller parts."
COALS = "Burn charcoal and gas outdoors only: they make carbon monoxide."
CORE, COME_UP = "core, coldest link", "minutes to that core"
COOKERS = ("charcoal cooker", "gas cooker")


@dataclass(frozen=True)
class Blank:
    """A cell to be filled by hand: what is measured, its unit, and what is expected there ('' where nothing is)."""

    label: str
    unit: str
    expected: str = ""


@dataclass(frozen=True)
class StageCard:
    """One stage: what to do, the caution that bites here ('' where none), and the cells to fill."""

    stage: str
    todo: tuple[str, ...]
    caution: str
    blanks: tuple[Blank, ...]


def stage_cards(plan: BatchPlan, system: str = units.METRIC) -> tuple[StageCard, ...]:
    """The stages of this batch in the order of the work, in metric or US units."""
    say = _Words(plan, system)
    before = (say.grind(), say.weigh(), say.chop(), say.stuff())
    after = (say.chill(), say.peel(), say.pack(), say.finish())
    return tuple(card for card in (*before, *say.heat(), *after) if card)


class _Words:
    def __init__(self, plan: BatchPlan, system: str):
        self.plan, self.system, self.process = plan, system, plan.sheet.process
        expected = plan.balance.expected.stages if plan.balance else ()
        self.out_kg = {line.stage: line.out_kg for line in expected}

    def show(self, value: float, unit: str, decimals: int | None = None) -> str:
        return units.show(value, unit, self.system, decimals)

    def C(self, t: float) -> str:
        return self.show(t, "°C", 0)

    def weight(self, stage: str, label: str = "weight out") -> Blank:
        kg = self.out_kg.get(stage)
        said = "" if kg is None else f"about {self.show(kg, 'kg')}"
        return Blank(label, units.shown_unit("kg", self.system), said)

    def temperature(self, label: str, expected: str = "") -> Blank:
        return Blank(label, units.shown_unit("°C", self.system), expected)

    def grind(self) -> StageCard:
        known = (line.temperature_C for line in self.plan.sheet.of_kind("meat"))
        cold = [t for t in known if t is not None]
        at = f" at {self.C(max(cold))} or colder" if cold else " near freezing"
        process, how = self.process, ""
        if process.grind_passes:
            how = f", {process.grind_passes:g} times" if process.grind_passes > 1 else ", once"
        if process.grind_plate_mm:
            how += f", last plate {self.show(process.grind_plate_mm, 'mm')}"
        todo = (f"Meat and fat{at}, cut to strips; grind lean and fat apart{how}.",)
        blanks = (self.temperature("meat, warmest piece"), self.weight("grind", "ground meat"))
        return StageCard("grind", todo, BLADES.split(". ")[0] + ".", blanks)

    def weigh(self) -> StageCard:
        todo, blank = notes_of("to do at weigh", {}), Blank("strength on the cure bag", "% nitrite")
        caution = f"{cure_cautions.NITRITE} {cure_cautions.STRENGTH}"
        return StageCard("weigh", todo, caution, (blank,))

    def chop(self) -> StageCard:
        found, todo, expected = self.plan.chop, notes_of("to do at chop", {}), ""
        if found and (upper_C := self.plan.upper_C) is not None:
            ends_C = {"low": found.guide.low_C, "high": found.guide.high_C, "upper": upper_C}
            ends = {name: self.show(t, "°C") for name, t in ends_C.items()}
            expected, planned = self.C(found.end_C), self.C(found.planned_C)
            todo += notes_of("planned end", {}, guide=found.guide, planned=planned, **ends)
            if ice := found.ice:
                water = f" and {self.show(ice.water_kg, 'kg')} as cold water"
                water *= ice.water_kg > 0.02 * ice.ice_kg
                todo += notes_of("planned ice", {}, ice=self.show(ice.ice_kg, "kg"), water=water)
        blanks = (
            self.temperature("final chopping temperature", expected),
            Blank("chopping time", "min"),
            self.weight("chop", "batter"),
        )
        return StageCard("chop", todo, BLADES, blanks)

    def stuff(self) -> StageCard | None:
        links = self.plan.links
        if links is None:
            return None
        size = f"{self.show(links.link_length_mm, 'mm')} long, {self.show(links.link_weight_g, 'g')} each"
        dry = links.casing.name.startswith(("natural", "sheep", "hog", "collagen"))
        soak = "; soak it before use, as its label says" if dry else ""
        reach = ""
        if span := links.one_link_g:
            low, high = (self.show(g, "g", 0) for g in span)
            reach = f" (portioned {self.process.portioned}: {low} to {high})"
        todo = (
            f"{links.links} links, {size}{reach}.",
            f"Have {self.show(links.casing_m, 'm', 1)} of casing ready{soak}. Keep the batter cold until it is stuffed.",
        )
        ten = self.show(10 * links.link_weight_g, "g", 0)
        blanks = (
            Blank("links", ""),
            Blank("ten links together", units.shown_unit("g", self.system), ten),
            self.weight("stuff", "stuffed weight"),
        )
        return StageCard("stuff", todo, f"{HANDS} {LIFT}", blanks)

    def heat(self) -> Iterator[StageCard]:
        cook = self.plan.cook
        lost = {stage.name: stage.lost_pct for stage in cook.cooked.stages} if cook else {}
        rests = [step for step in self.process.cook if step.kind == RESTING]
        for step in rests:
            dry = f" About {lost[step.kind]:.1f} % evaporates." if step.kind in lost else ""
            said = f"{self.hours(step)} uncovered in the refrigerator at {self.C(step.dry_bulb_C)}.{dry}"
            read = (self.temperature("refrigerator"), self.weight("rest", "weight after"))
            yield StageCard("rest", (said,), COLD, read)
        steps = [step for step in self.process.house if step.kind != RESTING]
        if steps:
            todo = (*map(self.one_step, steps), *[PROBE] * bool(self.process.core_probes))
            hot = COALS if any(step.kind in COOKERS for step in steps) else HOT
            blanks = (
                self.temperature(CORE, self.C(self.target_C)),
                Blank(COME_UP, "min", self.come_up(rests)),
                Blank("held for", "min"),
                self.weight("cook"),
            )
            yield StageCard("cook", todo, f"{hot} {kill_cautions.SURFACE}", blanks)

    @property
    def target_C(self) -> float:
        cook = self.plan.cook
        return cook.cooked.targets[0].target_C if cook else self.process.core_target_C or 0.0

    def come_up(self, rests: list[CookStep]) -> str:
        """Minutes from the first warm step to the core wanted, with the range that a rough smokehouse leaves."""
        cook, before = self.plan.cook, sum(step.duration_min for step in rests)
        if cook is None:
            return ""
        minutes = cook.cooked.targets[0].minutes
        middle = "not reached as planned" if minutes is None else f"about {minutes - before:.0f}"
        if cook.unsure is None:
            return middle
        ends = (
            "not reached" if t is None else f"{t - before:.0f}"
            for t in (cook.unsure.soonest_min, cook.unsure.latest_min)
        )
        return f"{middle} ({' to '.join(ends)})"

    def one_step(self, step: CookStep) -> str:
        moist = rough = ""
        if step.wet_bulb_C is not None:
            moist = f", wet bulb {self.C(step.wet_bulb_C)}"
        elif step.rh_pct is not None:
            moist = f", {step.rh_pct:g} % humidity"
        if step.air_low_C is not None and step.air_high_C is not None:
            rough = f" ({self.C(step.air_low_C)} to {self.C(step.air_high_C)})"
        return f"{step.kind}: {self.hours(step)} at {self.C(step.dry_bulb_C)}{rough}{moist}."

    def hours(self, step: CookStep) -> str:
        minutes = step.duration_min
        return f"{minutes:.0f} min" if minutes < 180 else f"{minutes / 60:.3g} h"

    def chill(self) -> StageCard | None:
        process = self.process
        if not process.chill_medium:
            return None
        minutes = f", {process.chill_min:.0f} min" if process.chill_min else ""
        todo = f"{process.chill_medium}{minutes}; then cold until it is packed."
        blanks = (
            self.temperature("core at the end"),
            Blank("minutes from cook to that core", "min"),
            self.weight("chill"),
        )
        return StageCard("chill", (todo,), kill_cautions.COOLING, blanks)

    def peel(self) -> StageCard | None:
        if not self.process.is_peeled:
            return None
        blanks = (self.weight("peel", "peeled weight"),)
        return StageCard("peel", ("Casing off, cold and wet.",), "", blanks)

    def pack(self) -> StageCard:
        named = "; ".join(map(str, self.plan.followed.allergens))
        read = ", ".join(self.plan.followed.unread_labels)
        unread = f" Read the label of: {read}." if read else ""
        told = f"Allergens by name: {named or 'none found'}.{unread}"
        blanks = (self.weight("pack", "packed weight"), Blank("packs or pieces", ""))
        return StageCard("pack", (told,), "", blanks)

    def finish(self) -> StageCard | None:
        steps = self.process.finish
        if not steps:
            return None
        todo = (*map(self.one_step, steps), SERVE)
        return StageCard("grill", todo, COALS, (self.weight("grill", "served weight"),))
