"""Which designs fit the room, and who does what when?"""

from collections.abc import Sequence

from kit.classroom.plan import Option
from kit.classroom.timetable import Timetable
from kit.lab.charts import alt
from kit.lab.charts.marks import across, named_list
from kit.lab.charts.style import COLOUR, numbered

STEPS = {
    "weigh": ("band", "ink"),
    "chop": ("protein", "#ffffff"),
    "fill": ("fat", "ink"),
    "bath": ("added water", "ink"),
    "read": ("salt", "#ffffff"),
}
"""step -> the colour of its bar and of the letter on it"""


@alt.kept
def designs_chart(system: str) -> dict:
    """Chance of each design; those that the room cannot run in grey."""
    x = across("pct:Q", "chance of seeing the difference (%)", 0, 100, ticks=(0, 25, 50, 75, 100))
    layers = [
        ("designs", "bar", {"x": x, "colour": "colour:N", "height": 20}),
        ("designs", "quiet words", {"x": x, "text": "words:N", "halo": True}),
    ]
    subtitle = "stations × batters × tubes; grey: blocked; green: proposed"
    return named_list("Designs", subtitle, layers, labels=110, width=300, row=32)


def designs_data(options: Sequence[Option]) -> dict[str, list[dict]]:
    """Rows for `designs_chart`."""
    rows = []
    for n, one in enumerate(options):
        pct, name = 100 * one.chance, f"{one.stations} × {one.batters} × {one.tubes}"
        colour = "unexplained" if one.blocked_by else "meets" if one.best else "cold"
        words = f"{pct:.0f} %{', blocked' if one.blocked_by else ''}"
        look = {"colour": COLOUR[colour], "words": words}
        rows.append({"place": numbered(n, name), "pct": pct, **look})
    return {"designs": rows}


def design_words(one: Option) -> str:
    """The size of a design."""
    many = "s" if one.batters > 1 else ""
    return f"{one.stations} stations, {one.batters} batter{many}, {one.tubes} tube{'s' * (one.tubes > 1)}"


@alt.kept
def times_chart(system: str) -> dict:
    """Clock times: a line for each batter, a bar with its letter for each step."""
    x = across("start:Q", "minutes from the start of the session", ticks=10)
    middle = {"x": alt.X("middle:Q"), "text": "letter:N", "align": "center", "dx": 0}
    layers = [
        ("steps", "bar", {"x": x, "x2": "end:Q", "colour": "colour:N", "height": 19}),
        ("steps", "words", {**middle, "colour": "ink:N"}),
    ]
    subtitle = "W weigh, C chop, F fill, B bath, R read; one line for each station and batter"
    return named_list("Clock times", subtitle, layers, labels=150, width=640, row=23)


def times_data(times: Timetable) -> dict[str, list[dict]]:
    """Rows for `times_chart`, by session, station and batter."""
    lines = sorted({(row.session, *row.key[:2]) for row in times.rows})
    sessions = len({session for session, *_ in lines}) > 1
    found = []
    for row in times.rows:
        station, batter, step = row.key
        colour, ink = STEPS[step]
        name = f"{f'station {station}' if station else 'all'}, {batter}"
        name += f" (session {row.session})" if sessions else ""
        place = numbered(lines.index((row.session, station, batter)), name)
        start, end = row.start_min, row.end_min
        when = {"start": start, "end": end, "middle": (start + end) / 2}
        look = {"letter": step[0].upper(), "colour": COLOUR[colour], "ink": COLOUR.get(ink, ink)}
        words = f"{step} from minute {start} to {end}"
        found.append({"place": place, **when, **look, "words": words})
    return {"steps": found}
