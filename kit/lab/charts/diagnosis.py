"""Which causes still stand, what to measure next, how far each reading lies from the usual, and what minutes buy."""

import altair as alt
import numpy as np

from kit.diagnosis import Diagnosis, Reading, catalogue
from kit.lab.charts.style import COLOUR, LABEL, LIMIT_DASH, finished, names_down, numbered, rows

FAR = 8.0
"""spreads at which the readings chart ends"""
CAUSES, JOBS = 9, 6
"""bars shown at most"""
MOST_BITS_PER_MIN = 0.6
MINUTES = 120.0


# causes --------------------------------------------------------------------------------------------------------------------------------
def standing_chart(system: str) -> dict:
    """A bar per cause, the leading one's weight as the full length, its place in words; grey bars are set aside for now."""
    y = names_down("place", 305)
    x = alt.X(
        "weight:Q",
        title="weight against the one in front",
        scale=alt.Scale(domain=[0, 2], nice=False),
        axis=alt.Axis(values=[0, 0.5, 1], format=".1~f"),
    )
    bar = (
        alt.Chart(rows("causes"))
        .mark_bar(height=20)
        .encode(
            y=y,
            x=x,
            color=alt.Color(
                "state:N",
                scale=alt.Scale(
                    domain=["stands", "set aside"], range=[COLOUR["cold"], COLOUR["unexplained"]]
                ),
                legend=None,
            ),
            tooltip=[
                alt.Tooltip("name:N", title="cause"),
                alt.Tooltip("words:N", title="it is"),
                alt.Tooltip("weight:Q", title="weight", format=".3f"),
            ],
        )
    )
    words = (
        alt.Chart(rows("causes"))
        .mark_text(align="left", dx=6, fontSize=LABEL)
        .encode(y=y, x=x, text="words:N")
    )
    return finished(
        (bar + words).properties(width=190, height=alt.Step(31)),
        "What still stands",
        "weights rank the causes; they are no chances",
    )


def standing_data(found: Diagnosis) -> dict[str, list[dict]]:
    """Rows for `standing_chart`: the best first, standing causes before those set aside."""
    shown = [
        *((f, "stands") for f in found.standing),
        *((f, "set aside") for f in found.set_aside),
    ][:CAUSES]
    return {
        "causes": [
            {
                "place": numbered(n, f.cause.name),
                "name": f.cause.name,
                "weight": min(f.weight, 1.0),
                "state": state,
                "words": f.place,
            }
            for n, (f, state) in enumerate(shown)
        ]
    }


def standing_text(found: Diagnosis) -> str:
    return (
        "Bars of how each cause stands. "
        + " ".join(f"{f.cause.name}: {f.place}." for f in found.standing)
        + f" Set aside for now: {len(found.set_aside)} causes."
    )


# next measurements ---------------------------------------------------------------------------------------------------------------------
def next_chart(system: str) -> dict:
    """A bar per measurement not taken yet: what it would tell for each minute."""
    y = names_down("place", 215)
    x = alt.X(
        "rate:Q",
        title="bits told for each minute",
        scale=alt.Scale(domain=[0, MOST_BITS_PER_MIN], nice=False, clamp=True),
        axis=alt.Axis(values=[0, 0.2, 0.4], format=".1~f"),
    )
    bar = (
        alt.Chart(rows("jobs"))
        .mark_bar(height=20, color=COLOUR["gain"])
        .encode(
            y=y,
            x=x,
            tooltip=[
                alt.Tooltip("name:N", title="measurement"),
                alt.Tooltip("bits:Q", title="bits in all", format=".2f"),
                alt.Tooltip("minutes:Q", title="minutes"),
            ],
        )
    )
    words = (
        alt.Chart(rows("jobs"))
        .mark_text(align="left", dx=6, fontSize=LABEL)
        .encode(y=y, x=x, text="words:N")
    )
    return finished(
        (bar + words).properties(width=165, height=alt.Step(31)),
        "What to measure next",
        "1 bit halves the causes that stand",
    )


def next_data(found: Diagnosis) -> dict[str, list[dict]]:
    return {
        "jobs": [
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
    }


def next_text(found: Diagnosis) -> str:
    return "Bars of what each measurement would tell for a minute. " + " ".join(
        f"{o.job.name}: {o.bits:.2f} bits in {o.job.minutes:g} minutes."
        for o in found.next_jobs[:JOBS]
    )


# readings ------------------------------------------------------------------------------------------------------------------------------
def readings_chart(system: str) -> dict:
    """How far each reading lies from the usual of sound batches, in their own spreads; grey is where it says nothing."""
    y = names_down("place", 330)
    scale = alt.Scale(domain=[-FAR, FAR], nice=False, clamp=True)
    x = alt.X(
        "at:Q",
        title="spreads from the usual of sound batches",
        scale=scale,
        axis=alt.Axis(values=[-8, -4, 0, 4, 8]),
    )
    band = (
        alt.Chart(rows("readings"))
        .mark_bar(height=20, color=COLOUR["band"])
        .encode(y=y, x=alt.X("low:Q", scale=scale), x2="high:Q")
    )
    middle = (
        alt.Chart(rows("middle"))
        .mark_rule(color=COLOUR["limit"], strokeDash=list(LIMIT_DASH), strokeWidth=2)
        .encode(x=alt.X("at:Q", scale=scale))
    )
    point = (
        alt.Chart(rows("readings"))
        .mark_point(size=190, stroke=COLOUR["ink"], strokeWidth=2, filled=True, opacity=1)
        .encode(
            y=y,
            x=x,
            color=alt.Color(
                "state:N",
                scale=alt.Scale(
                    domain=["low", "usual", "high"],
                    range=[COLOUR["cold"], "#ffffff", COLOUR["heat"]],
                ),
                legend=None,
            ),
            shape=alt.Shape(
                "state:N",
                scale=alt.Scale(
                    domain=["low", "usual", "high"],
                    range=["triangle-down", "circle", "triangle-up"],
                ),
                legend=None,
            ),
            tooltip=[alt.Tooltip("name:N", title="reading"), alt.Tooltip("words:N", title="it is")],
        )
    )
    words = (
        alt.Chart(rows("readings"))
        .mark_text(align="left", fontSize=LABEL, x=312)
        .encode(y=y, text="words:N")
    )
    return finished(
        (band + middle + point + words).properties(width=300, height=alt.Step(32)),
        "What was found",
        "grey: as in sound batches; a triangle points the way a reading is off",
    )


def readings_data(found: list[tuple[Reading, float, str]]) -> dict[str, list[dict]]:
    """Rows for `readings_chart` from (reading, value, the value in words)."""
    return {"readings": [_placed(n, *one) for n, one in enumerate(found)], "middle": [{"at": 0}]}


def spreads_off(reading: Reading, amount: float) -> float:
    """How far `amount` lies from the usual value, in the spread of readings of sound batches."""
    return (amount - reading.usual_value) / float(np.hypot(reading.sound_sd, reading.noise_sd))


def _placed(n: int, reading: Reading, amount: float, words: str) -> dict:
    low, high = (
        side * FAR if edge is None else spreads_off(reading, edge)
        for edge, side in ((reading.low_edge, -1), (reading.high_edge, 1))
    )
    return {
        "place": numbered(n, reading.name),
        "name": reading.name,
        "at": spreads_off(reading, amount),
        "low": low,
        "high": high,
        "state": ("low", "usual", "high")[int(reading.class_of(amount))],
        "words": words,
    }


def readings_text(found: list[tuple[Reading, float, str]]) -> str:
    return "How far each reading lies from the usual of sound batches. " + " ".join(
        f"{r.name}: {words}, {spreads_off(r, x):+.1f} spreads.".replace("-", "−")
        for r, x, words in found
    )


# one symptom, and minutes --------------------------------------------------------------------------------------------------------------
def from_one_chart(system: str) -> dict:
    """For each symptom: in how many batches of 100 the likeliest cause would be right."""
    y = names_down("place", 175)
    x = alt.X(
        "right:Q",
        title="right, of 100 batches",
        scale=alt.Scale(domain=[0, 100], nice=False),
        axis=alt.Axis(values=[0, 25, 50, 75, 100]),
    )
    bar = (
        alt.Chart(rows("symptoms"))
        .mark_bar(height=17)
        .encode(
            y=y,
            x=x,
            color=alt.Color(
                "chosen:N",
                scale=alt.Scale(
                    domain=["chosen", "other"], range=[COLOUR["fails"], COLOUR["unexplained"]]
                ),
                legend=None,
            ),
            tooltip=[
                alt.Tooltip("name:N", title="symptom"),
                alt.Tooltip("cause:N", title="likeliest"),
                alt.Tooltip("right:Q", title="right, of 100", format=".0f"),
            ],
        )
    )
    words = (
        alt.Chart(rows("symptoms"))
        .mark_text(align="left", dx=6, fontSize=LABEL)
        .encode(y=y, x=x, text="words:N", opacity=alt.value(1))
    )
    return finished(
        (bar + words).properties(width=210, height=alt.Step(25)),
        "One symptom, one guess",
        "the likeliest cause, by the catalogue",
    )


def from_one_data(found, chosen: str) -> dict[str, list[dict]]:
    """Rows from lessons.diagnosis.FromOne, best guess first."""
    book = catalogue()
    best = sorted(found, key=lambda one: -one.right_pct)
    return {
        "symptoms": [
            {
                "place": numbered(n, book.symptoms[one.symptom].name),
                "name": book.symptoms[one.symptom].name,
                "cause": one.cause,
                "right": one.right_pct,
                "chosen": "chosen" if one.symptom == chosen else "other",
                "words": f"{one.right_pct:.0f}" + (" ←" if one.symptom == chosen else ""),
            }
            for n, one in enumerate(best)
        ]
    }


def from_one_text(found) -> str:
    book = catalogue()
    return "How often the likeliest cause of one symptom is right, of 100. " + " ".join(
        f"{book.symptoms[one.symptom].name}: {one.right_pct:.0f}." for one in found
    )


def minutes_chart(system: str) -> dict:
    """Batches whose cause in front is the right one, against the minutes spent on measuring."""
    scale = alt.Scale(domain=[-5, MINUTES], nice=False)
    x = alt.X(
        "minutes:Q",
        title="minutes spent on measuring",
        scale=scale,
        axis=alt.Axis(values=[0, 30, 60, 90, 120]),
    )
    y = alt.Y(
        "right:Q",
        title="right, of 100 batches",
        scale=alt.Scale(domain=[0, 104], nice=False),
        axis=alt.Axis(values=[0, 25, 50, 75, 100]),
    )
    line = (
        alt.Chart(rows("curve"))
        .mark_line(interpolate="step-after", color=COLOUR["meets"], strokeWidth=4)
        .encode(x=x, y=y)
    )
    stop = (
        alt.Chart(rows("here"))
        .mark_rule(color=COLOUR["limit"], strokeDash=list(LIMIT_DASH), strokeWidth=2)
        .encode(x=x)
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=260, filled=True, color="white", stroke=COLOUR["point"], strokeWidth=4, opacity=1
        )
        .encode(x=x, y=y)
    )
    words = (
        alt.Chart(rows("here"))
        .mark_text(fontSize=LABEL + 1, fontWeight=600, baseline="top", dy=16, align="left")
        .encode(x=alt.X("label_at:Q", scale=scale), y=y, text="words:N")
    )
    return finished(
        (line + stop + point + words).properties(width=320, height=300),
        "What minutes buy",
        "always the measurement that tells most per minute",
    )


def minutes_data(
    minutes: float, right_pct: float, curve: list[tuple[float, float]]
) -> dict[str, list[dict]]:
    return {
        "curve": [{"minutes": m, "right": pct} for m, pct in curve],
        "here": [
            {
                "minutes": minutes,
                "right": right_pct,
                "label_at": min(minutes + 2, 70.0),
                "words": f"{right_pct:.0f} right after {minutes:g} min",
            }
        ],
    }


def minutes_text(minutes: float, right_pct: float, curve: list[tuple[float, float]]) -> str:
    return (
        f"Steps of how many of 100 played batches are called rightly against minutes of measuring: {curve[0][1]:.0f} with none, {right_pct:.0f} after {minutes:g}, "
        f"{curve[-1][1]:.0f} after {curve[-1][0]:g}."
    )
