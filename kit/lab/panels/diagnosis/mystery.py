"""The mystery batch: choose measurements in turn, see what they say and cost, name the cause, open the case.

All state lies in the controls: which measurements were chosen, in which order, and what was named.
"""

from dataclasses import dataclass

from kit.diagnosis.catalogue import catalogue
from kit.diagnosis.mystery import CaseReply, Investigation
from kit.diagnosis.reveal import Reveal
from kit.errors import OutOfRange
from kit.lab.charts import diagnosis as charts
from kit.lab.lessons.diagnosis import STATIONS, case_of
from kit.lab.panels.diagnosis.words import (
    NONE,
    be_sure,
    causes_table,
    cautions,
    in_system,
    names,
    next_table,
    next_words,
    plain_notes,
    reading_words,
    readings_rows,
    stands_words,
)
from kit.lab.panels.panel import Choice, Entry, Panel, Row, Slider, Switch, Table, View

TURNS = 8
MOST_CLASS = 9999
NO_ANSWER = "not yet"
HINTS = (("none", 0), ("what to measure next", 1), ("what still stands", 2))


@dataclass(frozen=True)
class PlayedCase:
    """A learner's way through one case. `reply` is None before a cause is named, `reveal` until the case is opened."""

    way: Investigation
    reply: CaseReply | None
    reveal: Reveal | None
    asked_to_open: bool


def mystery_panel(class_number: int = 5) -> Panel:
    """One hidden fault per station; a class number and a station always make the same batch."""
    book = catalogue()
    jobs = [(f"{job.name} ({_time(job.minutes)})", key) for key, job in book.jobs.items()]
    causes = [(cause.name, key) for key, cause in book.causes.items()]
    options, batch, name = (("none", NONE), *jobs), "The batch", "Name it"
    whole, turns = "a whole number, from your teacher", "Measure, in this order"
    controls = (
        Entry("class", "Class number", f"{class_number}", whole, batch),
        Slider("station", "Station", "", 1, STATIONS, 1, 1, batch),
        *(
            Choice(f"turn {n}", f"Measurement {n}", options, NONE if n > 1 else "ledger", turns)
            for n in range(1, TURNS + 1)
        ),
        Choice("named", "The cause is", ((NO_ANSWER, NONE), *causes), NONE, name),
        Choice("hint", "Hint", HINTS, 0, name),
        Switch("open", "Open the case", False, name),
    )
    none = {f"turn {n}": NONE for n in range(1, TURNS + 1)} | {"hint": 0, "open": False}

    def compute(values) -> PlayedCase:
        way = Investigation(case_of(_class_number(values["class"]), int(values["station"])))
        for n in range(1, TURNS + 1):
            if values[f"turn {n}"]:
                way = way.measure(values[f"turn {n}"])
        reply = way.case.check(values["named"]) if values["named"] else None
        return PlayedCase(
            way, reply, way.case.reveal() if values["open"] and reply else None, values["open"]
        )

    return Panel(
        "The mystery batch",
        controls,
        compute,
        mystery_view,
        lambda system: {
            "readings": charts.readings_chart(system),
            "standing": charts.standing_chart(system),
        },
        {
            "Name it at once": none | {"named": "hot_chop"},
            "Clear the bench": none | {"named": NONE},
        },
    )


def _class_number(written: str) -> int:
    if not written.strip().isdecimal() or int(written) > MOST_CLASS:
        raise OutOfRange(
            f"the class number is {written!r}; give a whole number from 0 to {MOST_CLASS}, the same at every station"
        )
    return int(written)


def mystery_view(played: PlayedCase, values, system) -> View:
    way, book = played.way, catalogue()
    case, found = way.case, way.diagnosis
    means = {key: sum(each) / len(each) for key, each in way.evidence.items()}
    data = readings_rows(((book.readings[key], mean) for key, mean in means.items()), system)
    if values["hint"] == 2 or played.reveal:
        data["standing"] = charts.standing_data(found)
    tables = [_taken(way, system), _sheet(case, system), be_sure(case.symptoms)]
    if values["hint"] and found.next_jobs:
        tables.insert(1, next_table(found, 3))
    if values["hint"] == 2:
        tables.insert(1, causes_table(found, system))
    again = "Asking the same measurement again gives another reading, at the same price; the mean counts."
    notes, steps, sources = [case.notes[0], again], (), ()
    if played.reveal:
        tables.insert(0, _opened(played.reveal, system))
        notes += plain_notes(played.reveal.diagnosis, system)
        steps, sources = played.reveal.working, played.reveal.sources
    return View(
        _sentence(played, values, system),
        data,
        {},
        tuple(tables),
        tuple(notes),
        steps,
        sources,
        cautions(found) if values["hint"] == 2 or played.reveal else cautions(),
    )


def _sentence(played: PlayedCase, values, system: str) -> str:
    way, taken = played.way, len(played.way.taken)
    cost = "nothing measured yet"
    if taken:
        plural = "s" if taken > 1 else ""
        cost = f"{taken} measurement{plural} taken, {_time(way.minutes)} spent"
    seen = f"Seed {way.case.seed}. Seen: {names(way.case.symptoms)}; {cost}."
    if played.reply:
        seen = f"{seen} {played.reply.says}"
    if played.reveal:
        return seen if played.reply.right else f"{seen} It was: {played.reveal.cause}."
    if played.reply:
        return seen if taken else f"{seen} You named it from what was seen alone."
    if played.asked_to_open:
        return f"{seen} Name a cause first; then the case opens."
    if values["hint"] == 2:
        seen = f"{seen} {stands_words(way.diagnosis, system)}"
    if values["hint"]:
        return f"{seen} {next_words(way.diagnosis)}"
    return f"{seen} Choose the next measurement, or name the cause."


def _taken(way: Investigation, system: str) -> Table:
    book, spent, rows = catalogue(), 0.0, []
    for n, each in enumerate(way.taken, 1):
        spent += each.minutes
        said = (
            f"{book.readings[key].name}: {reading_words(book.readings[key], value, system)}"
            for key, value in each.values.items()
        )
        cells = (f"{n}", each.job.name, "; ".join(said), _time(each.minutes), _time(spent))
        rows.append(Row(cells))
    nothing = Row(("0", "nothing yet", "", "0 min", "0 min"))
    columns = ("", "measurement", "it said", "took", "spent so far")
    return Table("Measured so far", columns, tuple(rows) or (nothing,))


def _sheet(case, system: str) -> Table:
    rows = tuple(Row((what, in_system(written, system))) for what, written in case.sheet)
    return Table("The sheet, as planned (the fault is not on it)", ("what", "planned"), rows)


def _opened(reveal: Reveal, system: str) -> Table:
    tells = "a reading that tells, without noise"
    rows = (
        Row(("planted", reveal.cause), "strong"),
        Row(("what happened", reveal.what_happened)),
        Row(("what would mend it", reveal.mend)),
        *(Row((tells, in_system(line, system))) for line in reveal.decisive),
    )
    return Table("The case opened", ("", "what the kit planted"), rows)


def _time(minutes: float) -> str:
    """'45 min', '2 h 10 min', '2 days'."""
    if minutes < 90:
        return f"{minutes:g} min"
    if minutes >= 1440 and minutes % 1440 == 0:
        return f"{minutes / 1440:g} day{'s' if minutes > 1440 else ''}"
    hours, rest = divmod(minutes, 60)
    return f"{hours:g} h" + (f" {rest:g} min" if rest else "")
