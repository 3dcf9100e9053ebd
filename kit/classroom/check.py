"""Does a timetable keep what it promises? Minute by minute, written apart from the solver that made it."""

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


@dataclass(frozen=True)
class Waits:
    """The longest of each wait in a timetable, min."""

    batter_wait_min: int
    raw_above_min: int
    wait_difference_min: int
    after_bath_min: int


def check(
    timetable: Timetable, planned: Design, room: ClassRoom, minutes: StepMinutes, limits: WaitLimits
) -> tuple[Breach, ...]:
    """Every breach of minutes, order, waits, people, choppers, balances, bath and session; empty where all is kept."""
    found: list[Breach] = []
    at = {row.key: row for row in timetable.rows}
    tubes, split = planned.tubes, planned.kind == "split"
    for station, batter in {(u.station, u.batter) for u in planned.units}:
        made = (station, 1 if split else batter)
        found_steps = {
            step: at.get(
                (*(made if step in ("weigh", "chop", "fill") else (station, batter)), step)
            )
            for step in ("weigh", "chop", "fill", "bath", "read")
        }
        if split:
            found_steps["bath"] = at.get((0, batter, "bath"))
        steps: dict[str, Booked] = {}
        for step, row in found_steps.items():
            if row is None:
                found.append(Breach(f"{step} of batter {batter} is missing", station, 0))
                continue
            steps[step] = row
            wanted = minutes.of(step, tubes)
            if row.end_min - row.start_min != wanted:
                found.append(
                    Breach(
                        f"{step} of batter {batter} takes {row.end_min - row.start_min} min, not {wanted}",
                        station,
                        row.start_min,
                    )
                )
            if row.start_min < 0 or row.end_min > room.sessions_min[row.session - 1]:
                found.append(
                    Breach(
                        f"{step} of batter {batter} lies outside the session",
                        station,
                        row.start_min,
                    )
                )
        if len(steps) < len(found_steps):
            continue
        order = [steps[step] for step in ("weigh", "chop", "fill", "bath", "read")]
        for a, b in zip(order, order[1:]):
            if (a.session, a.end_min) > (b.session, b.start_min):
                found.append(
                    Breach(
                        f"{b.key[2]} of batter {batter} begins before {a.key[2]} ends",
                        station,
                        b.start_min,
                    )
                )
        earlier = at.get((station, made[1] - 1, "chop"))
        if earlier and earlier.end_min > steps["chop"].start_min:
            what = f"batter {batter} is chopped before batter {made[1] - 1}"
            found.append(Breach(what, station, steps["chop"].start_min))
        bath, read, chop, fill = steps["bath"], steps["read"], steps["chop"], steps["fill"]
        if read.start_min - bath.end_min > limits.after_bath_min:
            found.append(
                Breach(
                    f"batter {batter} waits {read.start_min - bath.end_min} min after the bath",
                    station,
                    bath.end_min,
                )
            )
        if fill.start_min - chop.end_min > limits.batter_wait_min:
            found.append(
                Breach(
                    f"batter {batter} waits {fill.start_min - chop.end_min} min before filling",
                    station,
                    chop.end_min,
                )
            )
        if not split and bath.session == fill.session:
            if bath.start_min - fill.end_min > limits.batter_wait_min:
                found.append(
                    Breach(
                        f"batter {batter} waits {bath.start_min - fill.end_min} min before the bath",
                        station,
                        fill.end_min,
                    )
                )
            if bath.start_min - chop.start_min > limits.raw_above_min:
                found.append(
                    Breach(
                        f"batter {batter} is raw for {bath.start_min - chop.start_min} min",
                        station,
                        chop.start_min,
                    )
                )
    sessions = {row.session for row in timetable.rows}
    for session in sessions:
        rows = [row for row in timetable.rows if row.session == session]
        for minute in range(room.sessions_min[session - 1] + 1):
            running = [row for row in rows if row.start_min <= minute < row.end_min]
            now = [row.key for row in running]
            hands = [key for key in now if key[2] != "bath"]
            for station in {key[0] for key in hands}:
                if sum(key[0] == station for key in hands) > 1:
                    found.append(Breach("two steps at once", station, minute))
            busy = [
                row.chopper or room.chopper_of(row.key[0])
                for row in running
                if row.key[2] == "chop"
            ]
            found += [
                Breach(f"two batters in chopper {one}", 0, minute)
                for one in set(busy)
                if busy.count(one) > 1
            ]
            found += [
                Breach(f"chopper {one} of {room.choppers}", 0, minute)
                for one in set(busy)
                if one > room.choppers
            ]
            if sum(key[2] in ("weigh", "read") for key in now) > room.balances:
                found.append(Breach("more weighing than balances", 0, minute))
            places = sum(
                tubes * (planned.stations if split else 1) for key in now if key[2] == "bath"
            )
            if places > room.bath_places:
                found.append(Breach(f"{places} tubes in {room.bath_places} places", 0, minute))
    if not split and not room.overnight and limits.batter_wait_min >= limits.wait_difference_min:
        for station in {u.station for u in planned.units}:
            gaps = _waits_of(timetable, station)
            for one, other in zip(gaps, gaps[1:]):
                if abs(one - other) > limits.wait_difference_min:
                    what = f"compared batters wait {one} and {other} min before the bath"
                    found.append(Breach(what, station, 0))
    return tuple(found)


def _waits_of(timetable: Timetable, station: int) -> list[int]:
    """From the end of chopping to the bath, batter by batter."""
    at = {row.key: row for row in timetable.rows if row.key[0] == station}
    batters = sorted({key[1] for key in at if key[2] == "bath" and (station, key[1], "chop") in at})
    return [at[station, b, "bath"].start_min - at[station, b, "chop"].end_min for b in batters]


def longest_waits(timetable: Timetable, planned: Design) -> Waits:
    """The proof line that is printed: the longest waits of any batter."""
    at = {row.key: row for row in timetable.rows}
    wait = raw = gap = after = 0
    for station in {u.station for u in planned.units}:
        its = _waits_of(timetable, station)
        gap = max([gap, *(abs(a - b) for a, b in zip(its, its[1:]))])
    for key, row in at.items():
        if key[2] == "fill":
            wait = max(wait, row.start_min - at[(*key[:2], "chop")].end_min)
        if (
            key[2] == "bath"
            and (*key[:2], "fill") in at
            and at[(*key[:2], "fill")].session == row.session
        ):
            wait = max(wait, row.start_min - at[(*key[:2], "fill")].end_min)
            raw = max(raw, row.start_min - at[(*key[:2], "chop")].start_min)
        if key[2] == "read":
            bath = at.get((*key[:2], "bath")) or at[(0, key[1], "bath")]
            after = max(after, row.start_min - bath.end_min)
    return Waits(wait, raw, gap, after)
