"""Readings, reasons and offers in words, and how a typed reading is read."""

import re
from collections.abc import Iterable

from kit import units
from kit.diagnosis import Diagnosis, Reading
from kit.diagnosis.answer import CAUTION
from kit.diagnosis.catalogue import catalogue
from kit.errors import OutOfRange, WrongUnit
from kit.lab.charts import diagnosis as charts
from kit.lab.panels.panel import Choice, Row, Table
from kit.lab.panels.view import row

NONE = ""
HYGIENE = "Never taste a batch to find its fault. Green, slimy, off-smelling or perhaps undercooked product is held apart, not eaten, and discarded as your local rules say."
_WRITTEN = re.compile(r"(?<!of )(?<![\d.])([-−]?\d+(?:\.\d+)?) (kg|g|°C|K)(?!\w| of|/)")


def symptom_options(first: str = "nothing more") -> tuple:
    symptoms = catalogue().symptoms.values()
    return ((first, NONE), *((symptom.name, symptom.key) for symptom in symptoms))


def seen_choices(first: str) -> tuple:
    """One symptom that was seen, `first` to begin with, and perhaps another."""
    options, group = symptom_options(), "What was seen"
    return (
        Choice("seen", "Seen", options[1:], first, group),
        Choice("also", "Also seen", options, NONE, group),
    )


def seen_of(values) -> tuple[str, ...]:
    """Symptoms chosen, each once."""
    return tuple(dict.fromkeys(key for key in (values["seen"], values["also"]) if key))


def names(symptoms) -> str:
    return " and ".join(catalogue().symptoms[key].name for key in symptoms)


def figure_of(reading: Reading, amount: float, system: str) -> str:
    """'5.6 K', '10.1 °F', '64 %': the value of a reading in the chosen system."""
    places = max(reading.decimals, 0)
    if reading.unit in ("K", "°C"):
        return units.show(amount, reading.unit, system, places)
    text = f"{amount:.{places}f}"
    text = text.lstrip("-") if float(text) == 0 else text
    unit = "" if reading.unit == "pH" else reading.unit
    return f"{text} {unit}".replace("-", "−").strip()


def reading_words(reading: Reading, amount: float, system: str) -> str:
    """'5.6 K, hot'."""
    return f"{figure_of(reading, amount, system)}, {reading.words[int(reading.class_of(amount))]}"


def in_system(text: str, system: str) -> str:
    """Amounts written in kg, g, °C and K within a text, in the chosen system. 'g of 100 g' is a share and stays."""
    if system == units.METRIC:
        return text

    def converted(hit: re.Match) -> str:
        places = 0 if hit[2] == "kg" and "." not in hit[1] else None
        return units.show(float(hit[1].replace("−", "-")), hit[2], system, places)

    return _WRITTEN.sub(converted, text)


def typed_reading(reading: Reading, text: str):
    """A number, several numbers with spaces between them, or the word of a class; `diagnose` checks the range and the word."""
    written, words = text.strip(), ", ".join(filter(None, reading.words))
    if not written:
        raise WrongUnit(
            f"{reading.name}: nothing is written beside it; give a number in {reading.unit}, or one of: {words}"
        )
    try:
        return [float(part.replace("−", "-")) for part in written.split()]
    except ValueError:
        if any(sign.isdigit() for sign in written):
            raise WrongUnit(
                f"{reading.name} is {written!r}; give plain numbers in {reading.unit} with a decimal point, and spaces between several"
            ) from None
        return written


def amount(text: str, unit: str, field: str) -> float | None:
    """An entry with its unit, or None where it is empty."""
    return units.read(text, unit, field) if text.strip() else None


def temperature(text: str, field: str) -> float | None:
    """°C from '19 °C' or '66 °F'; None where empty."""
    found = amount(text, "°C", field)
    if found is not None and not -20 <= found <= 130:
        raise OutOfRange(
            f"{field} is {found:g} °C; it must lie between −20 and 130 °C, check the unit"
        )
    return found


# --- charts and tables ---


def readings_rows(found: Iterable[tuple[Reading, float]], system: str) -> dict:
    """The data of the readings chart, or none where nothing was read."""
    shown = [(reading, x, reading_words(reading, x, system)) for reading, x in found]
    return {"readings": charts.readings_data(shown)} if shown else {}


def diagnosis_tables(found: Diagnosis, seen, system: str) -> tuple[Table, ...]:
    """Causes, next measurements and how to be sure of what was seen, where there are such."""
    offers = (next_table(found),) if found.next_jobs else ()
    return (causes_table(found, system), *offers, *((be_sure(seen),) if seen else ()))


def causes_table(found: Diagnosis, system: str) -> Table:
    """Every standing cause with the evidence for and against it."""

    def reasons(given) -> str:
        return in_system("; ".join(f"{r.words} ({r.strength})" for r in given), system) or "nothing"

    rows = []
    for n, one in enumerate(found.standing):
        evidence = reasons(one.speaks_for), reasons(one.speaks_against)
        cells = (one.cause.name, one.place, *evidence, one.cause.mend)
        rows.append(Row(cells, "" if n else "strong"))
    columns = ("cause", "it is", "for it", "against it", "what would mend it")
    return Table("Causes still standing", columns, tuple(rows))


def next_table(found: Diagnosis, most: int = 6) -> Table:
    """The measurements offered, by what they tell per minute."""
    rows = []
    for n, offer in enumerate(found.next_jobs[:most]):
        tells = "; ".join(offer.tells) or "little by itself"
        job = offer.job
        cells = (job.name, f"{job.minutes:g}", f"{offer.bits:.2f}", tells, job.needs)
        rows.append(Row(cells, "" if n else "strong"))
    columns = ("measurement", "minutes", "bits", "what it would tell", "needs")
    return Table("What to measure next", columns, tuple(rows))


def be_sure(symptoms) -> Table:
    """What each symptom looks like and how to be sure of it."""
    found = [catalogue().symptoms[key] for key in symptoms]
    rows = tuple(row(one.name, one.as_seen, one.be_sure) for one in found)
    return Table("Is it really that?", ("seen", "as seen", "how to be sure"), rows)


# --- sentences ---


def next_words(found: Diagnosis) -> str:
    if found.next_jobs:
        job = found.next_jobs[0].job
        return f"Next: {job.name} ({job.minutes:g} min), which tells most for its minutes."
    if found.settled and found.confirm:
        job = found.confirm.job
        return f"Before it is named, look for it in another way: {job.name} ({job.minutes:g} min)."
    if found.settled:
        return "Every reading that it should move was taken: mend it in one batch, and change nothing else."
    return "No measurement held here would part them further: change one thing at a time in trial batches."


def stands_words(found: Diagnosis, system: str) -> str:
    if not found.settled:
        front = ", ".join(one.cause.name for one in found.standing if one.place == "in front")
        return f"{len(found.standing)} causes still stand. In front: {front}."
    said = f"One cause alone still stands: {found.leading.cause.name}."
    if found.unexplained:
        said += f" But it would seldom show {in_system('; '.join(found.unexplained), system)}."
    return said


def cautions(found: Diagnosis | None = None) -> tuple[str, ...]:
    return (HYGIENE, found.caution if found else CAUTION)


def notes_of(found: Diagnosis, system: str) -> tuple[str, ...]:
    return tuple(in_system(note, system) for note in found.notes)
