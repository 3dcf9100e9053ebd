"""Does a timetable keep what it promises? Minute by minute, written apart from the solver that made it."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from kit.classroom.tasks import ClassRoom, StepMinutes, WaitLimits
from kit.classroom.timetable import Booked, Timetable
from kit.trial.design import Design


@dataclass(frozen=True)
class Breach:
    """One promise that is not kept."""

    what: str
    station: int
    minute: int


def check(
    timetable: Timetable, planned: Design, room: ClassRoom, minutes: StepMinutes, limits: WaitLimits
) -> tuple[Breach, ...]:
    """Every breach of minutes, order, waits, people, choppers, balances, bath and session; empty where all is kept."""
    split = planned.kind == "split"
    at = {row.key: row for row in timetable.rows}
    found: list[Breach] = []
    for station, batter in sorted({(u.station, u.batter) for u in planned.units}):
        made = (station, 1 if split else batter)
        keys = {step: (*made, step) for step in ("weigh", "chop", "fill")}
        keys |= {
            "bath": (0 if split else station, batter, "bath"),
            "read": (station, batter, "read"),
        }
        steps = {step: at[key] for step, key in keys.items() if key in at}
        said = [(f"{step} of batter {batter} is missing", 0) for step in keys if step not in steps]
        for step, row in steps.items():
            takes, wanted = row.end_min - row.start_min, minutes.of(step, planned.tubes)
            if takes != wanted:
                what = f"{step} of batter {batter} takes {takes} min, not {wanted}"
                said.append((what, row.start_min))
            if row.start_min < 0 or row.end_min > room.sessions_min[row.session - 1]:
                what = f"{step} of batter {batter} lies outside the session"
                said.append((what, row.start_min))
        if len(steps) == len(keys):
            said += _of_batter(steps, at.get((station, made[1] - 1, "chop")), batter, split, limits)
        found += [Breach(what, station, minute) for what, minute in said]
    for session in sorted({row.session for row in timetable.rows}):
        found += _together([r for r in timetable.rows if r.session == session], planned, room)
    if not split and not room.overnight and limits.batter_wait_min >= limits.wait_difference_min:
        for station in sorted({u.station for u in planned.units}):
            waits = _waits_of(timetable, station)
            found += [
                Breach(f"compared batters wait {one} and {other} min before the bath", station, 0)
                for one, other in zip(waits, waits[1:])
                if abs(one - other) > limits.wait_difference_min
            ]
    return tuple(found)


def _of_batter(
    steps: Mapping[str, Booked],
    earlier: Booked | None,
    batter: int,
    split: bool,
    limits: WaitLimits,
) -> Iterator[tuple[str, int]]:
    """(what, minute) of order and waits of one batter; `earlier`: the chopping of the batter that its station makes before."""
    order = [steps[step] for step in ("weigh", "chop", "fill", "bath", "read")]
    for a, b in zip(order, order[1:]):
        if (a.session, a.end_min) > (b.session, b.start_min):
            yield f"{b.key[2]} of batter {batter} begins before {a.key[2]} ends", b.start_min
    _, chop, fill, bath, read = order
    if earlier and earlier.end_min > chop.start_min:
        yield f"batter {batter} is chopped before batter {batter - 1}", chop.start_min
    waits = [
        (read.start_min - bath.end_min, limits.after_bath_min, "waits {} min after the bath", bath),
        (
            fill.start_min - chop.end_min,
            limits.batter_wait_min,
            "waits {} min before filling",
            chop,
        ),
    ]
    if not split and bath.session == fill.session:
        wait, raw = bath.start_min - fill.end_min, bath.start_min - chop.start_min
        waits.append((wait, limits.batter_wait_min, "waits {} min before the bath", fill))
        waits.append((raw, limits.raw_above_min, "is raw for {} min", chop))
    for wait, longest, words, row in waits:
        if wait > longest:
            yield f"batter {batter} {words.format(wait)}", row.end_min


def _together(rows: Sequence[Booked], planned: Design, room: ClassRoom) -> Iterator[Breach]:
    """What is used twice in one session, minute by minute."""
    tubes = planned.tubes * (planned.stations if planned.kind == "split" else 1)
    for minute in range(max(row.end_min for row in rows) + 1):
        now = [row for row in rows if row.start_min <= minute < row.end_min]
        steps = Counter(row.key[2] for row in now)
        crews = Counter(row.key[0] for row in now if row.key[2] != "bath")
        choppers = Counter(
            row.chopper or room.chopper_of(row.key[0]) for row in now if row.key[2] == "chop"
        )
        yield from (Breach("two steps at once", s, minute) for s, n in crews.items() if n > 1)
        for chopper, n in choppers.items():
            if n > 1 or chopper > room.choppers:
                yield Breach(f"{n} batters in chopper {chopper} of {room.choppers}", 0, minute)
        if steps["weigh"] + steps["read"] > room.balances:
            yield Breach("more weighing than balances", 0, minute)
        if tubes * steps["bath"] > room.bath_places:
            yield Breach(f"{tubes * steps['bath']} tubes in {room.bath_places} places", 0, minute)


def _waits_of(timetable: Timetable, station: int) -> list[int]:
    """From the end of chopping to the bath, batter by batter."""
    at = {row.key: row for row in timetable.rows if row.key[0] == station}
    batters = sorted({key[1] for key in at if key[2] == "bath" and (station, key[1], "chop") in at})
    return [at[station, b, "bath"].start_min - at[station, b, "chop"].end_min for b in batters]
