"""Which causes still stand, what to measure next, how far each reading lies from the usual, and what minutes buy."""

from collections.abc import Iterable, Sequence

import altair as alt
import numpy as np

from kit.diagnosis import Diagnosis, Reading
from kit.diagnosis.catalogue import catalogue
from kit.lab.charts.marks import across, layer, named_list, up
from kit.lab.charts.style import COLOUR, LABEL, finished, numbered

FAR = 8.0
"""spreads at which the readings chart ends"""
CAUSES, JOBS = 9, 6
"""bars shown at most"""
MOST_BITS_PER_MIN = 0.6
MINUTES = 120.0


def standing_chart(system: str) -> dict:
    """A bar per cause, the leading one's weight as the full length; grey bars are set aside for now."""
    x = across(
        "weight:Q", "weight against the one in front", 0, 2, ticks=(0, 0.5, 1), format=".1~f"
    )
    tips = _tips(name="cause", words="it is", weight="weight .3f")
    bar = {"x": x, "height": 20, "color": _state({"stands": "cold", "set aside": "unexplained"})}
    return named_list(
        "What still stands",
        "weights rank the causes; they are no chances",
        [
            ("causes", "bar", {**bar, "tooltip": tips}),
            ("causes", "quiet words", {"x": x, "text": "words:N"}),
        ],
        labels=305,
        width=190,
        row=31,
    )


def standing_data(found: Diagnosis) -> dict[str, list[dict]]:
    """Rows for `standing_chart`: the best first, standing causes before those set aside."""
    rows = [
        {
            "place": numbered(n, one.cause.name),
            "name": one.cause.name,
            "weight": min(one.weight, 1.0),
            "state": "stands" if n < len(found.standing) else "set aside",
            "words": one.place,
        }
        for n, one in enumerate((*found.standing, *found.set_aside))
    ]
    return {"causes": rows[:CAUSES]}


def next_chart(system: str) -> dict:
    """A bar per measurement not taken yet: what it would tell for each minute."""
    ticks, title = (0, 0.2, 0.4), "bits told for each minute"
    x = across("rate:Q", title, 0, MOST_BITS_PER_MIN, ticks=ticks, clamp=True, format=".1~f")
    tips = _tips(name="measurement", bits="bits in all .2f", minutes="minutes")
    return named_list(
        "What to measure next",
        "1 bit halves the causes that stand",
        [
            ("jobs", "bar", {"x": x, "height": 20, "colour": "gain", "tooltip": tips}),
            ("jobs", "quiet words", {"x": x, "text": "words:N"}),
        ],
        labels=215,
        width=165,
        row=31,
    )


def next_data(found: Diagnosis) -> dict[str, list[dict]]:
    """Rows for `next_chart`, the best first."""
    rows = [
        {
            "place": numbered(n, offer.job.name),
            "name": offer.job.name,
            "rate": offer.bits_per_min,
            "bits": offer.bits,
            "minutes": offer.job.minutes,
            "words": f"{offer.job.minutes:g} min",
        }
        for n, offer in enumerate(found.next_jobs[:JOBS])
    ]
    return {"jobs": rows}


def next_text(found: Diagnosis) -> str:
    """What the bars of `next_chart` say, with the bits that stand in no label."""
    said = (
        f"{one.job.name}: {one.bits:.2f} bits in {one.job.minutes:g} minutes."
        for one in found.next_jobs[:JOBS]
    )
    return f"Bars of what each measurement would tell for a minute. {' '.join(said)}"


def readings_chart(system: str) -> dict:
    """How far each reading lies from the usual of sound batches, in their own spreads; grey is where it says nothing."""
    x = across(
        "at:Q",
        "spreads from the usual of sound batches",
        -FAR,
        FAR,
        ticks=(-8, -4, 0, 4, 8),
        clamp=True,
    )
    band = {"x": alt.X("low:Q", scale=x["scale"]), "x2": "high:Q", "height": 20, "colour": "band"}
    shapes = alt.Scale(
        domain=["low", "usual", "high"], range=["triangle-down", "circle", "triangle-up"]
    )
    point = {
        "x": x,
        "size": 190,
        "stroke": COLOUR["ink"],
        "strokeWidth": 2,
        "color": _state({"low": "cold", "usual": "#ffffff", "high": "heat"}),
        "shape": alt.Shape("state:N", scale=shapes, legend=None),
        "tooltip": _tips(name="reading", words="it is"),
    }
    middle = layer("middle", "limit", x=alt.X("at:Q", scale=x["scale"]), strokeWidth=2)
    return named_list(
        "What was found",
        "grey: as in sound batches; a triangle points the way a reading is off",
        [
            ("readings", "bar", band),
            ("readings", "dot", point),
            ("readings", "quiet words", {"x": alt.value(312), "dx": 0, "text": "words:N"}),
        ],
        labels=330,
        width=300,
        row=32,
        under=[middle],
    )


def readings_data(found: Iterable[tuple[Reading, float, str]]) -> dict[str, list[dict]]:
    """Rows for `readings_chart` from (reading, value, the value in words)."""
    rows = [_placed(n, *one) for n, one in enumerate(found)]
    return {"readings": rows, "middle": [{"at": 0}]}


def spreads_off(reading: Reading, amount: float) -> float:
    """How far `amount` lies from the usual value, in the spread of readings of sound batches."""
    return (amount - reading.usual_value) / float(np.hypot(reading.sound_sd, reading.noise_sd))


def _placed(n: int, reading: Reading, amount: float, words: str) -> dict:
    low, high = reading.low_edge, reading.high_edge
    return {
        "place": numbered(n, reading.name),
        "name": reading.name,
        "at": spreads_off(reading, amount),
        "low": -FAR if low is None else spreads_off(reading, low),
        "high": FAR if high is None else spreads_off(reading, high),
        "state": ("low", "usual", "high")[int(reading.class_of(amount))],
        "words": words,
    }


def from_one_chart(system: str) -> dict:
    """For each symptom: in how many batches of 100 the likeliest cause would be right."""
    x = across("right:Q", "right, of 100 batches", 0, 100, ticks=(0, 25, 50, 75, 100))
    tips = _tips(name="symptom", cause="likeliest", right="right, of 100 .0f")
    bar = {"x": x, "height": 17, "color": _state({"chosen": "fails", "other": "unexplained"})}
    return named_list(
        "One symptom, one guess",
        "the likeliest cause, by the catalogue",
        [
            ("symptoms", "bar", {**bar, "tooltip": tips}),
            ("symptoms", "quiet words", {"x": x, "text": "words:N"}),
        ],
        labels=175,
        width=210,
        row=25,
    )


def from_one_data(found, chosen: str) -> dict[str, list[dict]]:
    """Rows from lessons.diagnosis.FromOne, best guess first."""
    symptoms, rows = catalogue().symptoms, []
    for n, one in enumerate(sorted(found, key=lambda one: -one.right_pct)):
        here = one.symptom == chosen
        rows.append(
            {
                "place": numbered(n, symptoms[one.symptom].name),
                "name": symptoms[one.symptom].name,
                "cause": one.cause,
                "right": one.right_pct,
                "state": "chosen" if here else "other",
                "words": f"{one.right_pct:.0f}{' ←' if here else ''}",
            }
        )
    return {"symptoms": rows}


def minutes_chart(system: str) -> dict:
    """Batches whose cause in front is the right one, against the minutes spent on measuring."""
    minutes = "minutes spent on measuring"
    x = across("minutes:Q", minutes, -5, MINUTES, ticks=(0, 30, 60, 90, 120))
    y = up("right:Q", "right, of 100 batches", 0, 104, ticks=(0, 25, 50, 75, 100))
    label = {"fontSize": LABEL + 1, "baseline": "top", "dy": 16, "dx": 0, "text": "words:N"}
    chart = alt.layer(
        layer("curve", "line", x=x, y=y, interpolate="step-after", colour="meets"),
        layer("here", "limit", x=x, strokeWidth=2),
        layer("here", "ring", x=x, y=y, size=260),
        layer("here", "words", x=alt.X("label_at:Q", scale=x["scale"]), y=y, **label),
    )
    return finished(
        chart.properties(width=320, height=300),
        "What minutes buy",
        "always the measurement that tells most per minute",
    )


def minutes_data(minutes: float, right_pct: float, curve: Sequence[float]) -> dict[str, list[dict]]:
    """Rows for `minutes_chart`; `curve`: right in 100 after 0, 1, 2, ... minutes."""
    here = {
        "minutes": minutes,
        "right": right_pct,
        "label_at": min(minutes + 2, 70.0),
        "words": f"{right_pct:.0f} right after {minutes:g} min",
    }
    rows = [{"minutes": float(m), "right": pct} for m, pct in enumerate(curve)]
    return {"curve": rows, "here": [here]}


def _state(colours: dict[str, str]) -> alt.Color:
    """A colour for each state of a row."""
    found = [COLOUR.get(colour, colour) for colour in colours.values()]
    scale = alt.Scale(domain=list(colours), range=found)
    return alt.Color("state:N", scale=scale, legend=None)


def _tips(**titles: str) -> tuple[alt.Tooltip, ...]:
    """{field: title, with its format where it ends in one}."""
    made = []
    for field, title in titles.items():
        name, _, format_ = title.rpartition(" .")
        if name:
            made.append(alt.Tooltip(f"{field}:Q", title=name, format=f".{format_}"))
        else:
            made.append(alt.Tooltip(f"{field}:{'Q' if field == 'minutes' else 'N'}", title=title))
    return tuple(made)
