"""Readings, reasons and offers in words, and how a typed reading is read."""

from collections.abc import Iterable

from kit import units
from kit.diagnosis import Diagnosis, Reading, Symptom
from kit.diagnosis.answer import CAUTION
from kit.diagnosis.catalogue import catalogue
from kit.errors import OutOfRange, WrongUnit
from kit.lab.charts import diagnosis as charts
from kit.lab.panels.panel import Row, Table

NONE = ""
HYGIENE = "Never taste a batch to find its fault. Green, slimy, off-smelling or perhaps undercooked product is held apart, not eaten, and discarded as your local rules say."


def symptoms(none: str = "") -> tuple:
    """Every symptom as an option, after `none` where there need not be one."""
    found = catalogue().symptoms.values()
    return (*(((none, NONE),) if none else ()), *((one.name, one.key) for one in found))


def seen_of(values) -> tuple[str, ...]:
    """Symptoms chosen, each once."""
    return tuple(dict.fromkeys(key for key in (values["seen"], values["also"]) if key))


def names(symptoms: Iterable[Symptom]) -> str:
    return " and ".join(symptom.name for symptom in symptoms)


def figure_of(reading: Reading, amount: float, system: str) -> str:
    """'5.6 °C', '10.1 °F', '64 %': the value of a reading in the chosen system."""
    places = max(reading.decimals, 0)
    if reading.unit in ("K", "°C", "K/min"):
        return units.show(amount, reading.unit, system, places)
    text = f"{amount:.{places}f}"
    text = text.lstrip("-") if float(text) == 0 else text
    unit = "" if reading.unit == "pH" else reading.unit
    return f"{text} {unit}".replace("-", "−").strip()


def reading_words(reading: Reading, amount: float, system: str) -> str:
    """'5.6 °C, hot'."""
    return f"{figure_of(reading, amount, system)}, {reading.words[int(reading.class_of(amount))]}"


def typed_reading(reading: Reading, text: str):
    """A number, several numbers with spaces between them, or the word of a class; `diagnose` checks the range and the word."""
    written, words = text.strip(), ", ".join(filter(None, reading.words))
    if not written:
        raise WrongUnit(
            f"{reading.name} has no value; give a number in {reading.unit}, or one of: {words}"
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


PICTURES = {"readings": charts.readings_chart, "standing": charts.standing_chart}


def readings_rows(found: Iterable[tuple[Reading, float]], system: str) -> dict:
    """The data of the readings chart, or none where nothing was read."""
    shown = [(reading, x, reading_words(reading, x, system)) for reading, x in found]
    return {"readings": charts.readings_data(shown)} if shown else {}


def diagnosis_tables(found: Diagnosis) -> tuple[Table, ...]:
    """Causes, next measurements and how to be sure of what was seen, where there are such."""
    offers = (next_table(found),) if found.next_jobs else ()
    return (causes_table(found), *offers, *((be_sure(found.seen),) if found.seen else ()))


def causes_table(found: Diagnosis) -> Table:
    """Every possible cause with the evidence for and against it."""

    def reasons(given) -> str:
        return "; ".join(f"{r.words} ({r.strength})" for r in given) or "nothing"

    rows = []
    for n, one in enumerate(found.standing):
        evidence = reasons(one.speaks_for), reasons(one.speaks_against)
        cells = (one.cause.name, one.place, *evidence, one.cause.mend)
        rows.append(Row(cells, "" if n else "strong"))
    columns = ("cause", "rank", "evidence for", "evidence against", "corrective action")
    return Table("Possible causes", columns, tuple(rows))


def next_table(found: Diagnosis, most: int = 6) -> Table:
    """The measurements offered, by information per minute."""
    rows = []
    for n, offer in enumerate(found.next_jobs[:most]):
        tells = "; ".join(offer.tells) or "little on its own"
        job = offer.job
        cells = (job.name, f"{job.minutes:g}", f"{offer.bits:.2f}", tells, job.needs)
        rows.append(Row(cells, "" if n else "strong"))
    columns = ("measurement", "time (min)", "information (bits)", "what it would show", "equipment")
    return Table("Next measurements", columns, tuple(rows))


def be_sure(symptoms: Iterable[Symptom]) -> Table:
    """What each symptom looks like and how to be sure of it."""
    rows = ((one.name, one.as_seen, one.be_sure) for one in symptoms)
    return Table(
        "Symptoms and how to confirm them", ("symptom", "appearance", "how to confirm"), rows
    )


# --- sentences ---


def next_words(found: Diagnosis) -> str:
    if found.next_jobs:
        job = found.next_jobs[0].job
        return f"Next: {job.name} ({job.minutes:g} min), the most informative per minute."
    if found.settled and found.confirm:
        job = found.confirm
        return f"Confirm this cause by another measurement: {job.name} ({job.minutes:g} min)."
    if found.settled:
        return "Every reading that this cause affects has been taken: correct it in one batch, and change nothing else."
    return "No measurement in the catalogue would separate them further: change one thing at a time in trial batches."


def stands_words(found: Diagnosis) -> str:
    if not found.settled:
        front = ", ".join(one.cause.name for one in found.standing if one.place == "most likely")
        return f"{len(found.standing)} possible causes remain. Most likely: {front}."
    said = f"One possible cause remains: {found.leading.cause.name}."
    if found.unexplained:
        said += f" This cause seldom shows {'; '.join(found.unexplained)}."
    return said


def cautions(found: Diagnosis | None = None) -> tuple[str, ...]:
    return (HYGIENE, *(found.cautions if found else (CAUTION,)))
