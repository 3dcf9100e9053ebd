"""What do a batch's sheet, its weighings, its logs and a few readings already say, in the readings of the catalogue of faults?

What was measured, logged, weighed or written counts as evidence. What was only planned counts where the plan itself is unusual: a usual plan does
not show that it was kept. What a room works out from the plan is shown beside it, and counts only where the sheet does not contradict it.
Where the sheet is silent nothing is put in its place.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from kit import chop
from kit.chain.chop import bowl_of
from kit.chain.diagnosis_logs import ChopLogged, HouseLogged
from kit.chain.emulsion import described
from kit.chain.follow import follow
from kit.cook.moist_air import humidity_pct
from kit.cure import nitrite_ppm
from kit.diagnosis import Diagnosis, Reading, catalogue, diagnose
from kit.diagnosis.catalogue import USUAL
from kit.emulsion import Batter, defaults, hold
from kit.errors import need_between
from kit.meat_block import compose
from kit.sheet import Sheet
from kit.tables import value
from kit.working import Step, step

MEASURED, LOGGED, WEIGHED, WRITTEN, PLANNED, WORKED_OUT = (
    "measured",
    "logged",
    "weighed",
    "written on the sheet",
    "planned on the sheet",
    "worked out",
)
SURE = (MEASURED, LOGGED, WEIGHED, WRITTEN)
BULK = ("meat", "rework", "ice", "water")
"""lines whose temperature decides how warm the bowl ends"""


@dataclass(frozen=True)
class Told:
    """One reading that the batch already gives. `why`: why it counts as evidence, or why not."""

    reading: Reading
    value: float
    origin: str
    how: str
    counts: bool
    why: str
    working: tuple[Step, ...] = ()

    @property
    def word(self) -> str:
        """The reading's class in its own word: hot, usual, ..."""
        return self.reading.words[int(self.reading.class_of(self.value))]

    @property
    def unusual(self) -> bool:
        return int(self.reading.class_of(self.value)) != USUAL


@dataclass(frozen=True)
class Evidence:
    """What one batch already says. `silent`: (reading, what would tell it)."""

    name: str
    best_end_C: float
    told: tuple[Told, ...]
    silent: tuple[tuple[Reading, str], ...]
    notes: tuple[str, ...]

    @property
    def readings(self) -> dict[str, float]:
        """{reading: value} of what counts, as `diagnose` takes it."""
        return {one.reading.key: one.value for one in self.told if one.counts}

    @property
    def unusual(self) -> tuple[Told, ...]:
        return tuple(one for one in self.told if one.counts and one.unusual)

    @property
    def sources(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(one.reading.cite() for one in self.told))

    @property
    def working(self) -> tuple[Step, ...]:
        return tuple(line for one in self.told for line in one.working)


def evidence_of(
    sheet: Sheet,
    usual: Sheet | None = None,
    *,
    end_C: float | None = None,
    core_C: float | None = None,
    chop_min: float | None = None,
    chop_log: ChopLogged | None = None,
    house_log: HouseLogged | None = None,
) -> Evidence:
    """What this batch already says.

    `usual`: the sheet of a batch that went well, to compare with; else the sheet's own plan serves. `end_C`, `core_C`, `chop_min`: as
    measured in the bowl, in the house and by the clock; they go before what `chop_log` and `house_log` say, and those before the plan. Raises what
    the rooms raise for impossible amounts.
    """
    for name, given, low, high in (
        ("end of chopping, °C", end_C, -10, 60),
        ("core at the end, °C", core_C, 0, 125),
        ("knife time, min", chop_min, 0.1, 240),
    ):
        if given is not None:
            need_between(name, given, low, high)
    measured_C = sheet.process.chop_end_measured_C
    plan = described(
        sheet if measured_C is None else sheet.with_process(chop_end_measured_C=None)
    ).batter
    told, notes = [], [note for log in (chop_log, house_log) if log for note in log.notes]
    ended = _first(
        (end_C, MEASURED, "probe in the bowl"),
        (measured_C, MEASURED, "measured end of chopping on the sheet"),
        chop_log and (chop_log.end_C, LOGGED, chop_log.how),
    )
    knives = _first(
        (chop_min, MEASURED, "by the clock"),
        chop_log and (chop_log.knife_min, LOGGED, "from the chopper's log"),
    )
    core = _first(
        (core_C, MEASURED, "probe in the core"),
        house_log
        and (
            house_log.core_C,
            LOGGED,
            f"the house's log, {house_log.core.split(' (')[0]} at its warmest",
        ),
    )
    for part in (
        _end(sheet, plan, ended, notes),
        _knife_time(sheet, usual, knives),
        _drops(sheet),
        _tube(sheet, plan, usual, ended and ended[0]),
        _water(sheet),
        _pH(sheet),
        _collagen(sheet),
        _core(sheet, core),
        _heating(house_log),
        _humidity(sheet, house_log),
        _house_loss(sheet, usual),
        _shower(sheet),
        _nitrite(sheet),
    ):
        told += part
    known = {one.reading.key for one in told}
    book = catalogue()
    silent = tuple(
        (reading, _why_silent(key, sheet))
        for key, reading in book.readings.items()
        if key not in known
    )
    return Evidence(sheet.name, best_end_C(plan), tuple(told), silent, tuple(notes))


def diagnosis_of(
    evidence: Evidence, symptoms: str | Iterable[str] = (), absent: Iterable[str] = ()
) -> Diagnosis:
    """`diagnose` with what the batch already says. Raises OutOfRange where there is neither a symptom nor a reading."""
    return diagnose(symptoms, evidence.readings, absent)


def best_end_C(batter: Batter) -> float:
    """Best end of chopping for the batter's fat, mixed fats by their shares."""
    fats = defaults().fats
    return sum(share * fats[kind].best_end_C for kind, share in batter.fat_kind.items())


def _first(*found) -> tuple[float, str, str] | None:
    """The first (amount, origin, how) that holds an amount."""
    return next((one for one in found if one and one[0] is not None), None)


def _told(key: str, amount: float, origin: str, how: str, working=(), against: str = "") -> Told:
    """A reading with the rule for what counts; `against`: what on the sheet contradicts it."""
    reading = catalogue().reading(key)
    amount = float(min(max(amount, reading.lowest), reading.highest))
    unusual = int(reading.class_of(amount)) != USUAL
    if against:
        counts, why = False, f"does not count: {against}"
    elif origin in SURE:
        counts, why = True, f"counts: {origin}"
    elif unusual:
        counts, why = True, f"counts: {origin}, and unusual already there"
    else:
        counts, why = False, f"does not count: {origin} as usual, which does not show what was done"
    return Told(reading, amount, origin, how, counts, why, tuple(working))


# from the bowl -------------------------------------------------------------------------------------------------------------------------
def _end(sheet: Sheet, plan: Batter, known: tuple[float, str, str] | None, notes: list[str]):
    best, planned, reckoned = best_end_C(plan), sheet.process.chop_end_C, _reckoned_end_C(sheet)
    edge = catalogue().reading("end_over_best_K").high_edge
    if known is not None:
        (end, origin, how), against = known, ""
        expected = planned if planned is not None else reckoned
        if expected is not None:
            notes.append(
                f"{origin}, the bowl ended {abs(end - expected):.1f} K {'warmer' if end >= expected else 'colder'} than the sheet has it"
            )
    elif planned is not None:
        apart = reckoned is not None and abs(reckoned - planned) > edge
        against = (
            f"the sheet contradicts itself: it plans {planned:g} °C, and its temperatures and energy end at {reckoned:.1f} °C; a probe would tell".replace(
                "-", "−"
            )
            if apart
            else ""
        )
        beside = (
            ""
            if reckoned is None
            else f"; the sheet's temperatures and energy end at {reckoned:.1f} °C"
        )
        end, origin, how = planned, PLANNED, f"planned end of chopping{beside}"
    elif reckoned is not None:
        end, origin, how, against = (
            reckoned,
            WORKED_OUT,
            "by the chop room, from the sheet's temperatures and energy",
            "",
        )
    else:
        return
    yield _told(
        "end_over_best_K",
        end - best,
        origin,
        how,
        [
            step(
                "end of chopping over the best for its fat",
                "d = T − B",
                end - best,
                "K",
                T=(end, "°C", how),
                B=(best, "°C", "best, by kind of fat"),
            )
        ],
        against,
    )


def _reckoned_end_C(sheet: Sheet) -> float | None:
    """None unless the sheet holds the energy and every temperature that matters."""
    energy = sheet.process.chop_energy_kJ_per_kg
    if energy is None or any(line.temperature_C is None for line in sheet.of_kind(*BULK)):
        return None
    return chop.chop(bowl_of(sheet), energy).end_C


def _knife_time(sheet: Sheet, usual: Sheet | None, known: tuple[float, str, str] | None):
    now, origin, how = known or (sheet.process.chop_min, PLANNED, "")
    beside = usual.process.chop_min if usual else sheet.process.chop_min if known else None
    if now is None or beside is None:
        return
    whose = "the usual batch" if usual else "the sheet's plan"
    pct = 100 * now / beside
    yield _told(
        "chop_time_pct",
        pct,
        origin,
        f"{how + ', ' if how else ''}against {whose}",
        [
            step(
                "knife time as a share of the usual",
                "s = 100 × t / u",
                pct,
                "%",
                t=(now, "min", "this batch"),
                u=(beside, "min", whose),
            )
        ],
    )


def _drops(sheet: Sheet):
    if sheet.process.drop_um is not None:
        yield _told("drop_um", sheet.process.drop_um, PLANNED, "drop size of the plan")


def _tube(sheet: Sheet, plan: Batter, usual: Sheet | None, end_C: float | None):
    """What the emulsion room expects of a tube test. It follows from the other readings, so that counting it would count them twice."""
    if usual is None and end_C is None:
        return
    core = value("emulsion_core_reference_C")
    beside = described(usual).batter if usual else plan
    now, then = (
        hold(b.but(core_C=core)) for b in (plan if end_C is None else plan.but(end_C=end_C), beside)
    )
    whose = "the usual batch" if usual else "the sheet's plan"
    for key, name, part in (
        ("tube_fat_over_g", "fat", "fat_out_g"),
        ("tube_water_over_g", "gel-water", "water_out_g"),
    ):
        a, b = getattr(now, part), getattr(then, part)
        yield _told(
            key,
            a - b,
            WORKED_OUT,
            f"expected by the emulsion room, over {whose}",
            [
                step(
                    f"{name} expected in the tube over {whose}",
                    "over = a − b",
                    a - b,
                    "g of 100 g",
                    a=(a, "g of 100 g", "this batch"),
                    b=(b, "g of 100 g", whose),
                )
            ],
            "it follows from the readings above, and would count them twice; a tube test would tell",
        )


def _water(sheet: Sheet):
    """Additions weighed at chop over those of the sheet, taken as water. Rework in the bowl has an amount of its own, so then it says nothing."""
    weighed = sheet.weighing("chop")
    protein_kg = compose(sheet.materials, sheet.kg).protein_pct * sheet.batch_kg / 100
    if (
        weighed is None
        or None in (weighed.in_kg, weighed.additions_kg)
        or weighed.rework_in_kg
        or sheet.kg_of("rework")
    ):
        return
    if not sheet.meat_kg or not protein_kg:
        return
    share = weighed.in_kg / sheet.meat_kg
    planned = sheet.batch_kg - sheet.meat_kg
    over = weighed.additions_kg - planned * share
    yield _told(
        "water_protein_over",
        over / (protein_kg * share),
        WEIGHED,
        "additions weighed at chop over the sheet's, taken as water",
        [
            step(
                "additions over the sheet's, for the meat weighed",
                "x = a − p × m / M",
                over,
                "kg",
                a=(weighed.additions_kg, "kg", "additions weighed"),
                p=(planned, "kg", "additions on the sheet"),
                m=(weighed.in_kg, "kg", "meat weighed"),
                M=(sheet.meat_kg, "kg", "meat on the sheet"),
            ),
            step(
                "water per protein over the sheet's",
                "w = x / (P × m / M)",
                over / (protein_kg * share),
                "g/g",
                x=(over, "kg"),
                P=(protein_kg, "kg", "protein on the sheet"),
                m=(weighed.in_kg, "kg"),
                M=(sheet.meat_kg, "kg"),
            ),
        ],
    )


# from the materials --------------------------------------------------------------------------------------------------------------------
def _pH(sheet: Sheet):
    meats = sheet.of_kind("meat")
    if sheet.process.meat_pH is not None:
        yield _told(
            "pH",
            sheet.process.meat_pH,
            WRITTEN,
            "pH of the meat block; alkaline phosphate lifts that of the batter a little",
        )
    elif meats and all(line.pH is not None for line in meats):
        yield _told(
            "pH",
            sum(line.kg * line.pH for line in meats) / sheet.meat_kg,
            WRITTEN,
            "mean of the meats by weight",
        )


def _collagen(sheet: Sheet):
    meats = sheet.of_kind("meat")
    if not meats or _no_collagen(sheet):
        return
    protein = [line.kg * line.material.protein_pct / 100 for line in meats]
    collagen = sum(
        kg * line.material.collagen_pct_of_protein / 100
        for kg, line in zip(protein, meats, strict=True)
    )
    if sum(protein):
        pct = 100 * collagen / sum(protein)
        yield _told(
            "collagen_pct",
            pct,
            WRITTEN,
            "from the tickets or tables of the meats",
            [
                step(
                    "collagen in the meat protein",
                    "c = 100 × k / p",
                    pct,
                    "%",
                    k=(collagen, "kg", "collagen"),
                    p=(sum(protein), "kg", "meat protein"),
                )
            ],
        )


def _no_collagen(sheet: Sheet) -> tuple[str, ...]:
    return tuple(
        line.name for line in sheet.of_kind("meat") if line.material.collagen_pct_of_protein is None
    )


def _nitrite(sheet: Sheet):
    """Nitrite as the sheet has it. Whether it went into the bowl, only the weigh ticket shows."""
    cures = sheet.of_kind("cure")
    if not sheet.meat_kg:
        return
    parts = [
        (line, float(nitrite_ppm(line.kg, line.nitrite_pct or 0.0, sheet.meat_kg)))
        for line in cures
    ]
    working = [
        step(
            f"nitrite of the meat, from {line.name}",
            "ppm = 10000 × c × s / M",
            ppm,
            "mg/kg",
            c=(line.kg, "kg", "cure"),
            s=(line.nitrite_pct or 0.0, "%", "nitrite on the label"),
            M=(sheet.meat_kg, "kg", "meat"),
        )
        for line, ppm in parts
    ]
    yield _told(
        "nitrite_ppm",
        sum(ppm for _, ppm in parts),
        PLANNED,
        "cure lines of the sheet" if cures else "no cure line on the sheet",
        working,
    )


# from the house ------------------------------------------------------------------------------------------------------------------------
def _core(sheet: Sheet, known: tuple[float, str, str] | None):
    if known is not None:
        yield _told("core_C", *known)
    elif sheet.process.core_target_C is not None:
        yield _told("core_C", sheet.process.core_target_C, PLANNED, "core temperature aimed at")


def _heating(log: HouseLogged | None):
    if log is not None and log.heating_K_per_min is not None:
        yield _told(
            "heating_K_per_min",
            log.heating_K_per_min,
            LOGGED,
            "the house's log, its fastest core",
            log.working,
        )


def _humidity(sheet: Sheet, log: HouseLogged | None):
    """The log's wet bulb over the drying stage; else the plan's mean over the drying steps, by their minutes."""
    if log is not None and log.drying_rh_pct is not None:
        yield _told(
            "house_rh_pct",
            log.drying_rh_pct,
            LOGGED,
            "the house's log, air and wet bulb of the drying stage",
        )
        return
    steps = [
        each
        for each in sheet.process.cook
        if each.kind == "dry" and None not in (each.dry_bulb_C, each.duration_min)
    ]
    found = [
        (
            each.duration_min,
            each.rh_pct
            if each.rh_pct is not None
            else float(humidity_pct(each.dry_bulb_C, each.wet_bulb_C)),
        )
        for each in steps
        if each.rh_pct is not None or each.wet_bulb_C is not None
    ]
    if found and len(found) == len(steps):
        yield _told(
            "house_rh_pct",
            sum(m * rh for m, rh in found) / sum(m for m, _ in found),
            PLANNED,
            "air of the drying steps",
        )


def _house_loss(sheet: Sheet, usual: Sheet | None):
    """A planned yield is a guess at the usual: near it nothing is shown, far from it something is."""
    now = follow(sheet).cook_yield.weighed_pct
    beside = follow(usual).cook_yield.weighed_pct if usual else sheet.cook_yield_pct
    if now is None or beside is None:
        return
    whose = "the usual batch, weighed" if usual else "the sheet's plan"
    reading = catalogue().reading("house_loss_over_pct")
    near_plan = not usual and int(reading.class_of(beside - now)) == USUAL
    yield _told(
        "house_loss_over_pct",
        beside - now,
        WEIGHED,
        f"cook yield against {whose}",
        [
            step(
                "house loss over the usual",
                "d = u − y",
                beside - now,
                "points",
                u=(beside, "%", f"cook yield of {whose}"),
                y=(now, "%", "cook yield weighed"),
            )
        ],
        "a yield near the one planned does not show that the loss was the usual one; compare with a batch that went well"
        if near_plan
        else "",
    )


def _shower(sheet: Sheet):
    if sheet.process.chill_medium == "cold air":
        yield _told("shower_min", 0.0, PLANNED, "chilled in cold air, no shower planned")
    elif sheet.process.chill_medium == "shower" and sheet.process.chill_min is not None:
        yield _told("shower_min", sheet.process.chill_min, PLANNED, "shower of the plan")


def _why_silent(key: str, sheet: Sheet) -> str:
    reading = catalogue().reading(key)
    job = catalogue().jobs[reading.job]
    ask = f"{job.name}, {job.minutes:g} min"
    if key == "collagen_pct" and _no_collagen(sheet):
        return f"no collagen figure for {', '.join(_no_collagen(sheet))}; {ask}"
    return ask
