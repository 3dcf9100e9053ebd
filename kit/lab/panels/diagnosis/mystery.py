"""The mystery batch: choose measurements in turn, see what they say and cost, name the cause, show the solution.

All state lies in the controls: which measurements were chosen, in which order, and what was named.
"""

from kit.diagnosis.catalogue import HOW_SURE, catalogue
from kit.diagnosis.mystery import Investigation, MysteryCase, mystery
from kit.errors import OutOfRange
from kit.lab.charts import diagnosis as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.diagnosis.words import (
    NONE,
    PICTURES,
    be_sure,
    causes_table,
    cautions,
    names,
    next_table,
    next_words,
    reading_words,
    readings_rows,
    stands_words,
)
from kit.lab.panels.panel import Panel, Table, View, row

TURNS = [f"turn {n}" for n in range(1, 9)]
MOST_CLASS = 9999
TELLING = 4
"""readings shown in the opened case, the surest first"""
HINTS = (("none", 0), ("next measurement", 1), ("possible causes", 2))
NOTES = (
    "An invented batch for practice, drawn by the frequencies of the teaching catalogue.",
    "Repeating a measurement gives a new reading for the same time; the mean counts.",
)


def mystery_panel(class_number: int = 5) -> Panel:
    """One hidden fault per station; a batch number and a station always give the same batch."""
    book = catalogue()
    jobs = [(f"{job.name} ({_time(job.minutes)})", key) for key, job in book.jobs.items()]
    causes = [(cause.name, key) for key, cause in book.causes.items()]
    options = dict.fromkeys(TURNS, (("none", NONE), *jobs))
    options |= {"named": (("not named yet", NONE), *causes), "hint": HINTS}
    start = {"class": f"{class_number}", "turn 1": "chop_log"}
    none = dict.fromkeys(TURNS, NONE) | {"hint": 0, "open": False}

    def compute(values) -> Investigation:
        case = mystery(_class_number(values["class"]), int(values["station"]))
        return case.investigate(filter(None, (values[turn] for turn in TURNS)))

    return Panel(
        "The mystery batch",
        controls_of("mystery", options=options, **start),
        compute,
        mystery_view,
        PICTURES,
        {
            "Name a cause without measuring": none | {"named": "hot_chop"},
            "Start again": none | {"named": NONE},
        },
    )


def _class_number(written: str) -> int:
    if not written.strip().isdecimal() or int(written) > MOST_CLASS:
        raise OutOfRange(
            f"the batch number is {written!r}; give a whole number from 0 to {MOST_CLASS}, the same at every station"
        )
    return int(written)


def mystery_view(way: Investigation, values, system) -> View:
    found, opened = way.diagnosis, bool(values["open"] and values["named"])
    data = readings_rows(found.measured, system)
    tables = [_taken(way, system), be_sure(found.seen)]
    if values["hint"] and found.next_jobs:
        tables.insert(1, next_table(found, 3))
    if values["hint"] == 2:
        tables.insert(1, causes_table(found))
    if opened:
        tables.insert(0, _opened(way.case))
    shown = values["hint"] == 2 or opened
    if shown:
        data["standing"] = charts.standing_data(found)
    return View(
        _sentence(way, values, system),
        data,
        tables=tuple(tables),
        notes=NOTES,
        cautions=cautions(found) if shown else cautions(),
    )


def _sentence(way: Investigation, values, system: str) -> str:
    case, taken = way.case, len(way.taken)
    cost = "no measurement taken yet"
    if taken:
        plural = "s" if taken > 1 else ""
        cost = f"{taken} measurement{plural} taken, {_time(way.minutes)} spent"
    seen = f"Batch {case.class_number}, station {case.station}. Symptom: {names(way.diagnosis.seen)}; {cost}."
    if values["named"]:
        seen = f"{seen} {case.check(values['named'])}"
        if values["open"] and values["named"] != case.cause:
            return f"{seen} The cause was: {catalogue().causes[case.cause].name}."
        return seen if taken or values["open"] else f"{seen} You named it from the symptoms alone."
    if values["open"]:
        return f"{seen} Name a cause first; then the solution is shown."
    if values["hint"] == 2:
        seen = f"{seen} {stands_words(way.diagnosis)}"
    if values["hint"]:
        return f"{seen} {next_words(way.diagnosis)}"
    return f"{seen} Choose the next measurement, or name the cause."


def _taken(way: Investigation, system: str) -> Table:
    book, spent, rows = catalogue(), 0.0, []
    for n, each in enumerate(way.taken, 1):
        spent += each.job.minutes
        said = (
            f"{book.readings[key].name}: {reading_words(book.readings[key], value, system)}"
            for key, value in each.values.items()
        )
        rows.append((n, each.job.name, "; ".join(said), _time(each.job.minutes), _time(spent)))
    nothing = (0, "none yet", "", "0 min", "0 min")
    columns = ("number", "measurement", "result", "time", "total time")
    return Table("Measurements taken", columns, rows or [nothing])


def _opened(case: MysteryCase) -> Table:
    book, hidden = catalogue(), catalogue().causes[case.cause]
    surest = sorted(book.shown_by(case.cause), key=lambda row: HOW_SURE.index(row.how_sure))
    telling = [book.readings[one.reading] for one in surest[:TELLING]]
    exact = "informative reading, without random error"
    rows = (
        row("simulated fault", hidden.name, mark="strong"),
        ("what happened", hidden.what_happened),
        ("corrective action", hidden.mend),
        *((exact, reading.text(case.truth[reading.key])) for reading in telling),
    )
    return Table("Solution", ("item", "this batch"), rows)


def _time(minutes: float) -> str:
    """'45 min', '2 h 10 min', '2 days'."""
    if minutes < 90:
        return f"{minutes:g} min"
    if minutes >= 1440 and minutes % 1440 == 0:
        return f"{minutes / 1440:g} day{'s' if minutes > 1440 else ''}"
    hours, rest = divmod(minutes, 60)
    return f"{hours:g} h" + (f" {rest:g} min" if rest else "")
