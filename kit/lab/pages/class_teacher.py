"""The teacher's page of a class: key of levels, clock times, shopping list, allergens, hygiene, cure, what to do when. It stands alone and prints."""

from kit import units
from kit.classroom.plan import ClassPlan
from kit.classroom.recipe import cure_bags, shopping
from kit.cure import cautions as cure
from kit.lab.pages import Markup, filled, listed, table
from kit.lab.pages.class_cards import STEPS, document, eaten_words, level_words, question_words
from kit.lab.pages.class_exercises import answers_of
from kit.reading.class_plan import plan_toml
from kit.rules.verdicts import CAUTION
from kit.tables import value
from kit.trial.exchanged import hidden_exchanges
from kit.trial.rows import words_of

HYGIENE = tuple(text for _, text, _ in words_of("hygiene"))
SHOPPING = "what", "needed", "to buy", "cost"
ASK = "Ask before buying who must not touch or eat what; read every label: names alone do not tell all."


def teacher_html(plan: ClassPlan) -> str:
    """The page: escaped, without script, link or font. It alone holds levels by station, and grams of a cure where there is one."""
    design, times = plan.design, plan.timetable
    low, middle, high = plan.predicted.range_points(plan.predicted.main)
    hidden = [
        f"station {s}: tubes {a[0]}-{a[1]} and {b[0]}-{b[1]}"
        for s in plan.present
        for a, b in hidden_exchanges(design, s)
    ]
    apart = f"Exchanges that may not show: filled weights less than {value('trial_tells_apart_g'):g} g apart; label these with care"
    bought = shopping(design, plan.sheets, plan.prices, plan.room.bath_C)
    sources = dict.fromkeys((*bought.sources, *plan.spread.sources, *times.sources))
    page = filled(
        "class_teacher.html",
        plan=plan,
        question=question_words(plan),
        eaten=eaten_words(plan),
        caution=CAUTION,
        at_a_station=plan.room.people / design.stations,
        chance_pct=100 * plan.chance,
        low=low,
        middle=middle,
        high=high,
        key=_key(plan),
        times=times,
        proof=", ".join(times.proof(plan.limits)),
        gantt=_gantt(plan),
        minutes=_minutes(plan),
        answers=answers_of(plan),
        bought=bought,
        shopping=table(SHOPPING, bought.shown(plan.units), ("", "n", "n", "n")),
        ice=units.show(bought.chill_ice_kg, "kg", plan.units, 1),
        cost="" if bought.cost is None else f" Priced lines together {bought.cost:.2f}.",
        ask=ASK,
        cure=_cure(plan),
        hygiene=listed("Hygiene, blades, hot water, what is thrown away", HYGIENE),
        when=table(Markup(), [(case, do) for case, do, _ in words_of("when")], named=True),
        hidden=listed(apart, hidden),
        confounded=listed("What this design cannot tell apart", design.confounded),
        sources=listed("Sources", sources),
        toml=plan_toml(plan),
    )
    return document(plan, "teacher", [page])


def _key(plan: ClassPlan) -> Markup:
    rows = (
        (u.station, u.batter, level_words(plan, u.station, u.batter), u.lot, u.machine)
        + (", ".join(f"{g:g}" for g in u.fills_g),)
        for u in plan.design.units
    )
    return table(("station", "batter", "level", "lot", "chopper", "fill, g"), rows)


def _minutes(plan: ClassPlan) -> Markup:
    by: dict[tuple, dict[str, str]] = {}
    for row in plan.timetable.rows:
        by.setdefault(row.key[:2], {})[row.key[2]] = row.minutes
    rows = (
        (f"{key[0] or 'all'}-{key[1]}", *(its.get(step, "") for step in STEPS))
        for key, its in sorted(by.items())
    )
    return table(("station-batter", *(f"{step}, min" for step in STEPS)), rows)


def _gantt(plan: ClassPlan) -> Markup:
    """Bars by pattern and letter, one line for each batter: readable in grey."""
    found = []
    for session in sorted({row.session for row in plan.timetable.rows}):
        rows = [row for row in plan.timetable.rows if row.session == session]
        lines = sorted({row.key[:2] for row in rows})
        end, wide, left, high = max(row.end_min for row in rows), 680, 62, 18
        per, axis, parts = (wide - left - 4) / max(end, 1), len(lines) * high + 16, []
        for n, (station, batter) in enumerate(lines):
            y = n * high + 15
            parts.append(f'<text x="0" y="{y}" font-size="15">{station or "all"}-{batter}</text>')
        for row in rows:
            step, y = row.key[2], lines.index(row.key[:2]) * high + 2
            x, w = left + row.start_min * per, (row.end_min - row.start_min) * per
            bar = f'<rect x="{x:.1f}" y="{y}" width="{w:.1f}" height="{high - 4}" fill="url(#{step})" stroke="#000"/>'
            ground = f'<rect x="{x + w / 2 - 7:.1f}" y="{y + 1}" width="14" height="{high - 6}" fill="#fff"/>'
            letter = f'<text x="{x + w / 2:.1f}" y="{y + 12}" font-size="14.7" text-anchor="middle">{step[0].upper()}</text>'
            parts.append(f"{bar}{ground}{letter}" if w > 14 else bar)
        parts += [
            f'<text x="{left + minute * per:.1f}" y="{axis}" font-size="15" text-anchor="middle">{minute}</text>'
            for minute in range(0, end + 1, 10)
        ]
        drawn = Markup("".join(parts))
        size = {"wide": wide, "high": axis + 4}
        found.append(filled("class_times.html", session=session, drawn=drawn, **size))
    return Markup("".join(found))


def _cure(plan: ClassPlan) -> Markup:
    if not plan.cured:
        words = "No cure goes into the bowl: loss and texture are studied without it."
        return Markup(f"<h2>Cure</h2><p>{words}</p>")
    rows = []
    for station, batter, row in cure_bags(plan.design, plan.sheets):
        out = row.withheld or row.reading_g is None
        weight = f"withheld: {row.note}" if out else f"{row.reading_g:g} g"
        rows.append((f"bag {station}-{batter}", row.name, weight, "", ""))
    bags = table(("bag", "cure", "weight", "✓", "2nd"), rows, ("", "", "n", "tick", "tick"))
    said = (cure.NITRITE, cure.STRENGTH, cure.WEIGH, cure.LAW, cure.POISONED)
    head = "Cure: weighed by the teacher, before the class, into numbered bags"
    return Markup(f"<h2>{head}</h2>{bags}{listed('Cautions', said)}")
