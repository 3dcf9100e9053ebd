"""Find the mistake in this weigh sheet: ordinary sheets, and sheets with one dosing error made, drawn from a sheet number.

An error is made by doing what the person would do (read the grams as ounces, take the batch for the meat, ...), never by the factors that
`dosing_errors` looks for.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from kit import units
from kit.cure.dose import Bases, CureLine, premix_kg_for
from kit.cure.dosing_errors import DOSING_ERRORS
from kit.cure.findings import DosingFindings, find_dosing_errors
from kit.cure.limits import band
from kit.cure.plan import Plan
from kit.cure.premix import Premix, premix, unassayed
from kit.cure.salts import convert
from kit.cure.scale import Scale
from kit.errors import OutOfRange, UnknownName, need_known
from kit.faults import need_said
from kit.rules.limits import all_limits, another_rule, editions
from kit.tables import read_rows
from kit.working import notes_of

STRONG, PURE = "US curing salt, 6.25 % nitrite", "sodium nitrite, pure"
_MIXES = (
    STRONG,
    "nitrite salt 0.5 %",
    "nitrite salt 0.6 %",
    "nitrite salt 0.9 %",
    "complete cure 0.75 %",
)
_STEPS_G = (0.1, 0.5, 1.0, 2.0)


def _plan(rng: np.random.Generator, with_target: bool) -> Plan:
    """An ordinary sheet."""
    rules = [edition for edition in editions().values() if edition.ceilings]
    rows = rules[int(rng.integers(len(rules)))].limits
    meat = float(np.round(np.exp(rng.uniform(np.log(5), np.log(400))), 1))
    batch = float(np.round(meat * rng.uniform(1.12, 1.55), 1))
    finished = float(np.round(batch * rng.uniform(0.84, 0.95), 1)) if rng.random() < 0.5 else None
    allowed, mix = band(rows, Bases(meat, batch, finished)), premix(str(rng.choice(_MIXES)))
    wanted = rng.uniform(allowed.low_kg, allowed.high_kg)
    exact_g = wanted / mix.strength_pct * 100 * 1000
    # a scale that can dose it: its step is at most 1 % of the weight
    step_g = float(rng.choice([s for s in _STEPS_G if s <= exact_g / 100] or [0.01]))
    scale = Scale(step_g, step_g / 2)
    grams = _reading_inside(exact_g, mix, scale, allowed)
    basis = next(row.basis for row in rows if row.quantity == "nitrite ingoing")
    target_ppm = wanted * 1e6 / Bases(meat, batch, finished).need_base_kg(basis)
    return Plan(
        meat,
        batch,
        finished,
        cure=(CureLine(mix, grams / 1000),),
        limits=rows,
        target_ppm=target_ppm if with_target else None,
        target_basis=basis,
        scale=scale,
    )


def _reading_inside(grams: float, mix: Premix, scale: Scale, allowed) -> float:
    """The reading nearest to the wanted weight that keeps the dose inside the band, as a careful person takes it."""
    low, high = (kg * 1000 * 100 / mix.strength_pct for kg in (allowed.low_kg, allowed.high_kg))
    reading = float(scale.round_g(grams))
    if reading > high:
        reading = float(scale.round_g(high, np.floor))
    if reading < low:
        reading = round(float(scale.round_g(low, np.floor)) + scale.step_g, 9)
    return reading if low <= reading <= high else grams


def ordinary(seed: int, with_target: bool = False) -> Plan:
    """An ordinary cure sheet: its dose lies inside what its rule leaves, and on its target if it names one."""
    return _plan(np.random.default_rng(seed), with_target)


def _misread(plan: Plan, unit_read: str, unit_meant: str) -> Plan:
    """The number of one unit read as another."""
    number = units.read(f"{plan.cure[0].kg} kg", unit_meant)
    return _line(plan, units.read(f"{number:.12g} {unit_read}", "kg"))


def _line(plan: Plan, kg: float) -> Plan:
    return replace(plan, cure=(replace(plan.cure[0], kg=kg), *plan.cure[1:]))


def _rated(plan: Plan, meant: Premix, used: Premix) -> Plan:
    """The weight that is right for `meant`, taken from `used`."""
    kg = plan.cure[0].nitrite_kg * 100 / meant.strength_pct
    return replace(plan, cure=(CureLine(used, kg),))


def _on_base(plan: Plan, taken: str) -> Plan | None:
    """The rate of the right base, multiplied by another base."""
    kg = plan.base_kg(taken)
    if taken == plan.target_basis or kg is None:
        return None
    return _line(plan, plan.cure[0].kg / plan.need_base_kg(plan.target_basis) * kg)


def _aim_elsewhere(plan: Plan, rng) -> Plan:
    """Aims at another jurisdiction's ceiling, on that rule's own base."""
    here = plan.limits[0].jurisdiction
    rows = [row for row in all_limits() if row.caps_nitrite and row.jurisdiction != here]
    row = rows[int(rng.integers(len(rows)))]
    figure = row.limit if row.as_salt == "as used" else convert(row.limit, row.as_salt, "NaNO2")
    base = plan.meat_kg if row.basis == "meat" else plan.batch_kg
    return _line(plan, float(premix_kg_for(figure, plan.cure[0].premix.strength_pct, base)))


def make(plan: Plan, key: str, flip: bool, weak: Premix) -> Plan | None:
    """`plan` with one dosing error made to it; None if that sheet gives no room for it.

    key: one of PLANTED but "other_rule". flip: which way round, where there are two. weak: the weak premix of a confusion.
    """
    line, us, pure = plan.cure[0], premix(STRONG), premix(PURE)
    kg, strength = line.kg, line.premix.strength_pct
    match key:
        case "other_premix":
            return _rated(plan, weak, us) if flip else _rated(plan, us, weak)
        case "pure_for_premix":
            return _rated(plan, us, pure)
        case "premix_for_pure":
            return _rated(plan, pure, us)
        case "percent_for_fraction":
            return _line(plan, line.nitrite_kg / (strength if flip else strength / 100 / 100))
        case "decimal_point":
            return _line(plan, kg * 10 if flip else kg / 10)
        case "ounces_for_grams":
            return _misread(plan, *(("oz", "g") if flip else ("g", "oz")))
        case "pounds_for_kilograms":
            return _misread(plan, *(("lb", "kg") if flip else ("kg", "lb")))
        case "added_twice" if flip:
            return replace(plan, cure=(line, replace(line, via="blend")))
        case "added_twice":
            return _line(plan, 2 * kg)
        case "meat_base" | "batch_base" | "finished_base":
            return _on_base(plan, key.removesuffix("_base"))
        case "ion_for_salt":
            forms = ("NO2", "NaNO2") if flip else ("NaNO2", "NO2")
            return _line(plan, convert(line.nitrite_kg, *forms) * 100 / strength)
        case "forgotten":
            return replace(plan, cure=())
        case "unknown_content":
            return replace(plan, cure=(CureLine(unassayed("celery powder"), kg),))
        case "mixed_rules":
            other = another_rule(plan.limits[0].jurisdiction)
            return replace(plan, limits=(*plan.limits, *other.limits))
    raise UnknownName("error to make", key, PLANTED)


def _plant(plan: Plan, key: str, rng) -> Plan | None:
    flip, weak = rng.random() < 0.5, premix(str(rng.choice(_MIXES[1:])))
    return _aim_elsewhere(plan, rng) if key == "other_rule" else make(plan, key, flip, weak)


_CERTAIN = ("forgotten", "unknown_content", "mixed_rules")
PLANTED = (*(error.key for error in DOSING_ERRORS), *_CERTAIN)
ANSWERS = ("none", *PLANTED)
_CASES = tuple(row["error"] for row in read_rows("cure", "cases.csv"))
"""what a case is drawn from"""


def planted(seed: int, key: str, with_target: bool = False) -> Plan:
    """An ordinary sheet with dosing error `key` (one of PLANTED) done to it. The same seed and key give the same sheet."""
    need_known("dosing error to simulate", key, PLANTED)
    rng = np.random.default_rng((seed, PLANTED.index(key)))
    for _ in range(1000):
        plan = _plant(_plan(rng, with_target), key, rng)
        if plan is not None:
            return plan
    raise OutOfRange(f"no sheet with room for {key!r} came of number {seed}; take another number")


@dataclass(frozen=True)
class Case:
    """One weigh sheet for the class: `planted` is one of ANSWERS."""

    seed: int
    plan: Plan
    planted: str

    @property
    def sheet(self) -> tuple[tuple[str, str], ...]:
        """Rows of (what, as written)."""
        return tuple(_sheet(self.plan))

    @property
    def hints(self) -> tuple[str, ...]:
        """From the gentlest to the plainest; they never name the error."""
        wanted, brought = self.plan.target_kg, 0.0
        told = bool(wanted and self.plan.cure and self.plan.assayed == self.plan.cure)
        if told:
            brought = sum(line.nitrite_kg for line in self.plan.cure)
        holds = {"labels": not told, "grams": told, "times": told}
        said = {"wanted_g": 1000 * (wanted or 0), "brought_g": 1000 * brought}
        return notes_of("hints", holds, times=brought / (wanted or 1), **said)

    @property
    def findings(self) -> DosingFindings:
        return find_dosing_errors(self.plan)

    def check(self, answer: str) -> tuple[bool, str]:
        """Whether one of ANSWERS is the error that was made, and what is said of it. UnknownName for anything else."""
        need_known("answer", answer, ANSWERS)
        found = self.findings
        fit = _fitting(found)
        if answer == self.planted:
            says = "Right: nothing is wrong with it" if answer == "none" else "Right"
            if others := [key for key in fit if key != answer]:
                says += f"; from the numbers alone {', '.join(others)} would fit as well"
            return True, says
        if answer in fit:
            tell = next((e.error.tell for e in found.explanations if e.key == answer), "")
            says = "It fits the numbers, but it is not what happened here. "
            return False, says + (f"To tell them apart: {tell}." if tell else "")
        says = "That would give other numbers"
        if self.planted == "none":
            says = "Nothing is wrong with this sheet"
        elif answer == "none":
            says = "Something is wrong with this sheet"
        return False, f"{says}. Hint: {self.hints[0]}"


def _fitting(found: DosingFindings) -> tuple[str, ...]:
    certain = (alarm.key for alarm in found.alarms if alarm.key in _CERTAIN)
    fits = tuple(dict.fromkeys((*certain, *(e.key for e in found.explanations))))
    return fits or (("none",) if found.ok else ())


def case(seed: int) -> Case:
    """A weigh sheet with one mistake, or with none; it names its target, so the mistake can be found from its numbers.

    seed: the sheet number, a whole number from 0 up; the same number gives the same sheet.
    """
    need_said(isinstance(seed, (int, np.integer)) and seed >= 0, "seed", seed=seed)
    rng = np.random.default_rng((int(seed), 77))
    for attempt in range(1000):
        key = str(rng.choice(_CASES))
        sub = int(seed) * 1000 + attempt
        plan = ordinary(sub, True) if key == "none" else planted(sub, key, True)
        if key in _fitting(find_dosing_errors(plan)):
            return Case(int(seed), plan, key)
    raise OutOfRange(f"no case came of number {seed}; take another")


def _sheet(plan: Plan) -> Iterator[tuple[str, str]]:
    for row in plan.limits:
        if row.caps_nitrite:
            yield "rule", row.in_words
    yield "meat block", f"{plan.meat_kg:g} kg"
    yield "whole batch", f"{plan.batch_kg:g} kg"
    if plan.finished_kg is not None:
        yield "expected after cooking", f"{plan.finished_kg:g} kg"
    target = f"{plan.target_ppm:.4g} ppm as {plan.target_as} of the {plan.target_basis}"
    yield "nitrite wanted", target
    for line in plan.cure:
        mix = line.premix
        strength = f"{mix.nitrite_pct:g} % nitrite" if mix.assayed else "nitrite not stated"
        said = [] if strength in mix.name else [strength]
        if line.via == "blend":
            said.append("in the spice blend")
        name = f"{mix.name} ({', '.join(said)})" if said else mix.name
        yield name, f"{line.kg * 1000:.5g} g"
