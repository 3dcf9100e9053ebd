"""Readings, reasons and offers in words, and how a typed reading is read."""

import re

from kit import units
from kit.diagnosis import CAUTION, Diagnosis, Reading, Symptom, catalogue
from kit.errors import OutOfRange, WrongUnit
from kit.lab.panels.panel import Choice, Row, Table

NONE = ""
HYGIENE = "Never taste a batch to find its fault. Green, slimy, off-smelling or perhaps undercooked product is held apart, not eaten, and discarded as your local rules say."
_WRITTEN = re.compile(r"(?<!of )(?<![\d.])([-−]?\d+(?:\.\d+)?) (kg|g|°C|K)(?!\w| of|/)")


def symptom_options(first: str = "nothing more") -> tuple:
    return (
        (first, NONE),
        *((symptom.name, symptom.key) for symptom in catalogue().symptoms.values()),
    )


def seen_choices(first: str) -> tuple:
    """Two symptoms that were seen and one that was looked for in vain. `first` is chosen to begin with; empty for none."""
    return (
        Choice(
            "seen",
            "Seen",
            symptom_options() if not first else symptom_options()[1:],
            first,
            "What was seen",
        ),
        Choice("also", "Also seen", symptom_options(), NONE, "What was seen"),
    )


def seen_of(values) -> tuple[str, ...]:
    """Symptoms chosen, each once."""
    return tuple(dict.fromkeys(key for key in (values["seen"], values["also"]) if key))


def names(symptoms) -> str:
    book = catalogue()
    return " and ".join(book.symptoms[key].name for key in symptoms)


def figure_of(reading: Reading, amount: float, system: str) -> str:
    """'5.6 K', '10.1 °F', '64 %': the value of a reading in the chosen system."""
    places = max(reading.decimals, 0)
    if reading.unit in ("K", "°C"):
        return units.show(amount, reading.unit, system, places)
    text = f"{amount:.{places}f}"
    return f"{text.lstrip('-') if float(text) == 0 else text} {reading.unit if reading.unit != 'pH' else ''}".replace(
        "-", "−"
    ).strip()


def reading_words(reading: Reading, amount: float, system: str) -> str:
    """'5.6 K, hot'."""
    return f"{figure_of(reading, amount, system)}, {reading.words[int(reading.class_of(amount))]}"


def in_system(text: str, system: str) -> str:
    """Amounts written in kg, g, °C and K within a text, in the chosen system. 'g of 100 g' is a share and stays."""
    if system == units.METRIC:
        return text
    return _WRITTEN.sub(
        lambda hit: units.show(
            float(hit[1].replace("−", "-")),
            hit[2],
            system,
            0 if hit[2] == "kg" and "." not in hit[1] else None,
        ),
        text,
    )


def typed_reading(reading: Reading, text: str):
    """A number, several numbers with spaces between them, or the word of a class; `diagnose` checks the range and the word."""
    written = text.strip()
    if not written:
        raise WrongUnit(
            f"{reading.name}: nothing is written beside it; give a number in {reading.unit}, or one of: {', '.join(filter(None, reading.words))}"
        )
    if "," in written:
        raise WrongUnit(
            f"{reading.name} is {written!r}; write a decimal point, and spaces between several readings"
        )
    try:
        return [float(part.replace("−", "-")) for part in written.split()]
    except ValueError:
        if any(sign.isdigit() for sign in written):
            raise WrongUnit(
                f"{reading.name} is {written!r}; give plain numbers in {reading.unit}, with spaces between several"
            ) from None
        return written


def amount(text: str, unit: str, field: str) -> float | None:
    """An entry with its unit, or None where it is empty."""
    return units.read(text, unit, field) if text.strip() else None


def causes_table(found: Diagnosis, system: str) -> Table:
    """Every standing cause with the evidence for and against it."""
    rows = tuple(
        Row(
            (
                f.cause.name,
                f.place,
                _reasons(f.speaks_for, system),
                _reasons(f.speaks_against, system),
                f.cause.mend,
            ),
            "strong" if n == 0 else "",
        )
        for n, f in enumerate(found.standing)
    )
    return Table(
        "Causes still standing",
        ("cause", "it is", "for it", "against it", "what would mend it"),
        rows,
    )


def _reasons(reasons, system: str) -> str:
    return in_system("; ".join(f"{r.words} ({r.strength})" for r in reasons), system) or "nothing"


def next_table(found: Diagnosis, most: int = 6) -> Table:
    """The measurements offered, by what they tell per minute."""
    return Table(
        "What to measure next",
        ("measurement", "minutes", "bits", "what it would tell", "needs"),
        tuple(
            Row(
                (
                    offer.job.name,
                    f"{offer.job.minutes:g}",
                    f"{offer.bits:.2f}",
                    "; ".join(offer.tells) or "little by itself",
                    offer.job.needs,
                ),
                "strong" if n == 0 else "",
            )
            for n, offer in enumerate(found.next_jobs[:most])
        ),
    )


def next_words(found: Diagnosis) -> str:
    if found.next_jobs:
        offer = found.next_jobs[0]
        return (
            f"Next: {offer.job.name} ({offer.job.minutes:g} min), which tells most for its minutes."
        )
    if found.settled and found.confirm:
        return f"Before it is named, look for it in another way: {found.confirm.job.name} ({found.confirm.job.minutes:g} min)."
    if found.settled:
        return "Every reading that it should move was taken: mend it in one batch, and change nothing else."
    return "No measurement held here would part them further: change one thing at a time in trial batches."


def stands_words(found: Diagnosis, system: str) -> str:
    lead = found.leading.cause.name
    if found.settled:
        doubt = (
            f" But it would seldom show {in_system('; '.join(found.unexplained), system)}."
            if found.unexplained
            else ""
        )
        return f"One cause alone still stands: {lead}.{doubt}"
    front = [f.cause.name for f in found.standing if f.place == "in front"]
    return f"{len(found.standing)} causes still stand. In front: {', '.join(front)}."


def cautions(found: Diagnosis | None = None) -> tuple[str, ...]:
    return (HYGIENE, found.caution if found else CAUTION)


def be_sure(symptoms) -> Table:
    """What each symptom looks like and how to be sure of it."""
    book = catalogue()
    found: list[Symptom] = [book.symptoms[key] for key in symptoms]
    return Table(
        "Is it really that?",
        ("seen", "as seen", "how to be sure"),
        tuple(Row((s.name, s.as_seen, s.be_sure)) for s in found),
    )


def plain_notes(found: Diagnosis, system: str) -> tuple[str, ...]:
    """Notes without those that the tables already say."""
    return tuple(
        in_system(note, system) for note in found.notes if not note.startswith("be sure that it is")
    )


def temperature(text: str, field: str) -> float | None:
    """°C from '19 °C' or '66 °F'; None where empty."""
    found = amount(text, "°C", field)
    if found is not None and not -20 <= found <= 130:
        raise OutOfRange(
            f"{field} is {found:g} °C; it must lie between −20 and 130 °C, check the unit"
        )
    return found
