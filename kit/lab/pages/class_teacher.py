"""The teacher's page of a class: key of levels, clock times, shopping list, allergens, hygiene, cure, what to do when. It stands alone and prints."""

from html import escape

from kit import units
from kit.classroom.plan import ClassPlan
from kit.classroom.recipe import Shopping, cure_bags, shopping
from kit.cure import cautions as cure
from kit.lab.pages import Markup, listed, table
from kit.lab.pages.class_cards import STEPS, document, eaten_words, level_words, question_words
from kit.lab.pages.class_exercises import answers_of
from kit.reading.class_plan import plan_toml
from kit.rules.verdicts import CAUTION
from kit.tables import value
from kit.trial.exchanged import hidden_exchanges
from kit.trial.words import words_of

HYGIENE = tuple(text for _, text, _ in words_of("hygiene"))
ASK = "Ask before buying who must not touch or eat what; read every label: names alone do not tell all."
_FILLS = {"weigh": "dots", "chop": "cross", "fill": "lines", "bath": "plain", "read": "dark"}


def teacher_html(plan: ClassPlan) -> str:
    """The page: escaped, without script, link or font. It alone holds levels by station, and grams of a cure where there is one."""
    low, middle, high = plan.predicted.range_points(plan.predicted.main)
    hidden = [
        f"station {s}: tubes {a[0]}-{a[1]} and {b[0]}-{b[1]}"
        for s in plan.present
        for a, b in hidden_exchanges(plan.design, s)
    ]
    bought = shopping(plan.design, plan.sheets, plan.prices, plan.room.bath_C)
    when = ((case, do) for case, do, _ in words_of("when"))
    body = "".join(
        (
            f"<h1>Class {plan.class_number}: the teacher's page</h1><p>{escape(question_words(plan))}</p>",
            f'<p class="stop">{escape(eaten_words(plan))} {escape(CAUTION)}</p>',
            f"<p>{plan.design.stations} stations, {plan.design.batters} batters each, {plan.design.tubes} tubes of each; {plan.room.people} people, about {plan.room.people / plan.design.stations:.0f} at a station. Chance of seeing {plan.question.worth_knowing_points:g} percentage points: {100 * plan.chance:.0f} %. The model predicts {middle:.1f} ({low:.1f} to {high:.1f}); its direction is built in and no evidence. Keep it until the guesses are written.</p>",
            _key(plan),
            _times(plan),
            answers_of(plan),
            _shopping(plan, bought),
            f'<h2>Allergens</h2><p class="caution">{escape(ASK)}</p><p>{escape(bought.allergens)}</p>',
            _cure(plan),
            listed("Hygiene, blades, hot water, what is thrown away", HYGIENE),
            f"<h2>What to do when</h2>{table(Markup(), when, named=True)}",
            listed(
                f"Exchanges that may not show: filled weights less than {value('trial_tells_apart_g'):g} g apart; label these with care",
                hidden,
            ),
            listed("What this design cannot tell apart", plan.design.confounded),
            listed(
                "Sources",
                dict.fromkeys((*bought.sources, *plan.spread.sources, *plan.timetable.sources)),
            ),
            f"<h2>The plan: with it every paper can be made again</h2><pre>{escape(plan_toml(plan))}</pre>",
        )
    )
    return document(plan, f"Class {plan.class_number}: teacher", body + _MORE)


_MORE = "<style>pre { font-size: 11pt; white-space: pre-wrap; } li { margin: .6mm 0; }</style>"


def _key(plan: ClassPlan) -> str:
    rows = (
        (u.station, u.batter, level_words(plan, u.station, u.batter), u.lot, u.machine)
        + (", ".join(f"{g:g}" for g in u.fills_g),)
        for u in plan.design.units
    )
    head = "station", "batter", "level", "lot", "chopper", "fill, g"
    return f"<h2>Key of levels: keep it from who reads tubes</h2>{table(head, rows)}"


def _times(plan: ClassPlan) -> str:
    times = plan.timetable
    kept = ", ".join(times.proof(plan.limits))
    proof = f"{times.method}: ends at minute {times.ends_min}. {kept}."
    by: dict[tuple, dict[str, str]] = {}
    for row in times.rows:
        by.setdefault(row.key[:2], {})[row.key[2]] = row.minutes
    rows = (
        (f"{key[0] or 'all'}-{key[1]}", *(its.get(step, "") for step in STEPS))
        for key, its in sorted(by.items())
    )
    head = "station-batter", *(f"{step}, min" for step in STEPS)
    return f"<h2>Clock times</h2><p>{escape(proof)}</p>{_gantt(plan)}{table(head, rows)}"


def _gantt(plan: ClassPlan) -> str:
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
            bar = f'<rect x="{x:.1f}" y="{y}" width="{w:.1f}" height="{high - 4}" fill="url(#{_FILLS[step]})" stroke="#000"/>'
            ground = f'<rect x="{x + w / 2 - 7:.1f}" y="{y + 1}" width="14" height="{high - 6}" fill="#fff"/>'
            letter = f'<text x="{x + w / 2:.1f}" y="{y + 12}" font-size="14.7" text-anchor="middle">{step[0].upper()}</text>'
            parts.append(f"{bar}{ground}{letter}" if w > 14 else bar)
        parts += [
            f'<text x="{left + minute * per:.1f}" y="{axis}" font-size="15" text-anchor="middle">{minute}</text>'
            for minute in range(0, end + 1, 10)
        ]
        found.append(
            f'<p>Session {session}, minutes; station-batter; W weigh, C chop, F fill, B bath, R read</p><svg width="100%" viewBox="0 0 {wide} {axis + 4}" role="img" aria-label="clock times of session {session}, the same as in the table"><defs>{_PATTERNS}</defs>{"".join(parts)}</svg>'
        )
    return "".join(found)


_PATTERNS = "".join(
    f'<pattern id="{name}" width="6" height="6" patternUnits="userSpaceOnUse"><rect width="6" height="6" fill="{ground}"/>{drawn}</pattern>'
    for name, ground, drawn in (
        ("dots", "#fff", '<circle cx="3" cy="3" r="1.2"/>'),
        ("cross", "#fff", '<path d="M0 0 L6 6 M6 0 L0 6" stroke="#000"/>'),
        ("lines", "#fff", '<path d="M0 6 L6 0" stroke="#000"/>'),
        ("plain", "#e6e6e6", ""),
        ("dark", "#777", ""),
    )
)


def _shopping(plan: ClassPlan, bought: Shopping) -> str:
    rows = bought.shown(plan.units)
    cost = "" if bought.cost is None else f" Priced lines together {bought.cost:.2f}."
    ice = units.show(bought.chill_ice_kg, "kg", plan.units, 1)
    bought_too = f"{bought.tubes} tubes with spare ones, {ice} of ice to chill the tubes, labels, tongs, goggles, probes, a discard bin.{cost}"
    whole = table(("what", "needed", "to buy", "cost"), rows, ("", "n", "n", "n"))
    return f"<h2>Shopping list</h2>{whole}<p>{bought_too}</p>"


def _cure(plan: ClassPlan) -> str:
    if not plan.cured:
        return "<h2>Cure</h2><p>No cure goes into the bowl: loss and texture are studied without it.</p>"
    rows = []
    for station, batter, row in cure_bags(plan.design, plan.sheets):
        out = row.withheld or row.reading_g is None
        weight = f"withheld: {row.note}" if out else f"{row.reading_g:g} g"
        rows.append((f"bag {station}-{batter}", row.name, weight, "", ""))
    bags = table(("bag", "cure", "weight", "✓", "2nd"), rows, ("", "", "n", "tick", "tick"))
    words = (cure.NITRITE, cure.STRENGTH, cure.WEIGH, cure.LAW, cure.POISONED)
    return f"<h2>Cure: weighed by the teacher, before the class, into numbered bags</h2>{bags}{listed('Cautions', words)}"
