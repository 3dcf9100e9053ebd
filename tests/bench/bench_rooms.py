"""Do the clock times of any class hold, and is 'impossible' true? By hand: python tests/bench/bench_rooms.py [rooms] [seed]

Rooms of another generator than the tests', read back by a checker of its own (it knows the rows and the limits, not the solver and not
tests/class_check.py), 'impossible' attacked by a list schedule of its own in random orders and, where only a bound proved it, by the solver itself.
"""

import random
import statistics
import sys
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[n]) for n in (2, 1)]

from class_check import check  # noqa: E402

from kit.classroom.tasks import ClassRoom, StepMinutes, WaitLimits, work_of  # noqa: E402
from kit.classroom.timetable import booked, bound, solved, timetable  # noqa: E402
from kit.trial import ask, design  # noqa: E402

STEPS = ("weigh", "chop", "fill", "bath", "read")
LONG = 2.0
"""of the solver: about twenty seconds"""


def a_room(rng):
    """(design, room, minutes, limits) of a class that somebody could have."""
    stations = rng.choice((3, 4, 5, 6, 7, 8, 9, 10, 12))
    kind = rng.choice(("pairs", "pairs", "pairs", "single", "three"))
    levels = (13, 16, 19) if kind == "three" else (13, 18)
    batters = {"pairs": 2, "single": 1, "three": 3}[kind]
    tubes = rng.choice((1, 2, 2, 3, 3, 4))
    sessions = (rng.choice((60, 75, 90, 90, 120, 150, 180)), rng.choice((60, 90)))
    room = ClassRoom(
        sessions,
        rng.choice((1, 2, 3, 4, stations)),
        rng.choice((12, 24, 24, 36, 48, 72)),
        75,
        rng.choice((1, 2, 3, 4, 8)),
        overnight=rng.random() < 0.15,
    )
    minutes = StepMinutes(
        rng.uniform(3, 9),
        rng.uniform(4, 10),
        rng.uniform(3, 7),
        rng.choice((20, 30, 40)),
        rng.uniform(0.8, 2),
    )
    limits = WaitLimits(
        rng.choice((8, 15, 20)), rng.choice((0, 3, 5)), rng.choice((3, 6, 10)), rng.choice((40, 60))
    )
    planned = design(ask("end_C", levels), stations, batters, tubes, seed=rng.randrange(10**6))
    return planned, room, minutes, limits


def wrong(rows, planned, room, minutes, limits):
    """What a timetable breaks, in words: from its rows and the sheet of limits alone."""
    said, at = [], {(row.key): row for row in rows}
    takes = {step: -(-round(getattr(minutes, step) * 1e6) // 10**6) for step in STEPS}
    takes["read"] = -(-round(minutes.read * planned.tubes * 1e6) // 10**6)
    events = []
    wait = {}
    for u in planned.units:
        its = [at.get((u.station, u.batter, step)) for step in STEPS]
        if None in its:
            said.append(f"{u.station}-{u.batter} misses a step")
            continue
        for row, step in zip(its, STEPS):
            if row.end_min - row.start_min != takes[step]:
                said.append(f"{row.key} takes {row.end_min - row.start_min}, not {takes[step]}")
            if row.start_min < 0 or row.end_min > room.sessions_min[row.session - 1]:
                said.append(f"{row.key} outside its session")
            needs = {f"hands {u.station}": 1} if step != "bath" else {"places": planned.tubes}
            if step == "chop":
                needs[f"machine {(u.station - 1) % room.choppers}"] = 1
            if step in ("weigh", "read"):
                needs["balances"] = 1
            events += [
                (row.session, row.start_min, 1, needs),
                (row.session, row.end_min, -1, needs),
            ]
        minute = [(row.session, row.start_min, row.end_min) for row in its]
        said += [
            f"{u.station}-{u.batter} out of order"
            for a, b in zip(minute, minute[1:])
            if (a[0], a[2]) > b[:2]
        ]
        _, chop, fill, bath, read = minute
        earlier = at.get((u.station, u.batter - 1, "chop"))
        if earlier and earlier.start_min >= chop[1]:
            said.append(f"{u.station}-{u.batter} is made before the batter before it")
        gaps = [
            (fill[1] - chop[2], limits.batter_wait_min),
            (read[1] - bath[2], limits.after_bath_min),
        ]
        if not room.overnight:
            gaps += [
                (bath[1] - fill[2], limits.batter_wait_min),
                (bath[1] - chop[1], limits.raw_above_min),
            ]
            wait[u.station, u.batter] = bath[1] - chop[2]
        said += [
            f"{u.station}-{u.batter} waits {gap} of {most}" for gap, most in gaps if gap > most
        ]
    have = {"places": room.bath_places, "balances": room.balances}
    now: dict[str, int] = {}
    for _, _, sign, needs in sorted(events, key=lambda e: e[:3]):
        for name, n in needs.items():
            now[name] = now.get(name, 0) + sign * n
            if now[name] > have.get(name, 1):
                said.append(f"too much of {name}")
    apart = [abs(w - wait[s, b + 1]) for (s, b), w in wait.items() if (s, b + 1) in wait]
    if limits.batter_wait_min >= limits.wait_difference_min:
        said += [f"{gap} min apart" for gap in apart if gap > limits.wait_difference_min]
    return said, max(apart, default=0)


def by_list(work, rng, orders, seconds):
    """Does any random order of batters, each put where it first fits, keep the minutes? A simple hand's timetable."""
    ends = time.perf_counter() + seconds
    chains: dict[tuple, list] = {}
    for task in work.tasks:
        chains.setdefault(task.key[:2], []).append(task)
    before = {b[:2]: a[:2] for a, b in work.alike}
    for _ in range(orders):
        if time.perf_counter() > ends:
            return False
        used = {name: [0] * (work.horizon_min + 1) for name in work.capacity}
        order = sorted(chains, key=lambda key: (key[1], rng.random()))
        if rng.random() < 0.5:
            lots = {key[0]: rng.random() for key in chains}
            order = sorted(chains, key=lambda key: (lots[key[0]], key[1]))
        done: dict[tuple, int] = {}
        waits: dict[tuple, int] = {}
        if all(_placed(work, chains[key], used, done, waits, before.get(key)) for key in order):
            return True
    return False


def _placed(work, chain, used, done, waits, pair) -> bool:
    def free(task, at):
        return at + task.minutes <= work.horizon_min and all(
            max(used[name][at : at + task.minutes], default=0) + n <= work.capacity[name]
            for name, n in task.needs.items()
        )

    for first in range(work.horizon_min):
        start, put = {}, []
        for task in chain:
            low, high = first if not put else 0, work.horizon_min
            for key, longest in task.after.items():
                ended = done[key] if key in done else start[key]
                low = max(low, ended)
                high = high if longest is None else min(high, ended + longest)
            at = next(
                (m for m in range(low, high + 1) if free(task, m) and not _meets(put, task, m)),
                None,
            )
            if at is None:
                break
            start[task.key] = at + task.minutes
            put.append((task, at))
        if len(put) < len(chain):
            continue
        names = {task.key[2]: (task, at) for task, at in put}
        if "chop" in names and "bath" in names:
            (chop, c), (_, b) = names["chop"], names["bath"]
            if work.raw_min is not None and b - c > work.raw_min:
                continue
            waits[chain[0].key[:2]] = wait = b - c - chop.minutes
            if work.alike and pair in waits and abs(wait - waits[pair]) > work.difference_min:
                continue
        done |= start
        for task, at in put:
            for name, n in task.needs.items():
                used[name][at : at + task.minutes] = [
                    x + n for x in used[name][at : at + task.minutes]
                ]
        return True
    return False


def _meets(put, task, at) -> bool:
    """Two steps of one crew at once."""
    crew = {n for n in task.needs if n.startswith("crew")}
    return any(crew & set(t.needs) and a < at + task.minutes and at < a + t.minutes for t, a in put)


def main(rooms: int, seed: int) -> None:
    rng, told = random.Random(seed), {}
    took, later, breaches, refuted, proofs, able = [], [], 0, [], 0, [0, 0]
    changes = []
    for n in range(rooms):
        planned, room, minutes, limits = its = a_room(rng)
        begun = time.process_time()
        found = timetable(*its)
        took.append(time.process_time() - begun)
        told[found.method] = told.get(found.method, 0) + 1
        works = work_of(*its)
        if found.rows:
            said, apart = wrong(found.rows, *its)
            said += [one.what for one in check(found, *its)]
            printed = found.waits["wait_difference_min"]
            if not room.overnight and len(planned.units) > planned.stations and printed != apart:
                said.append(f"{printed} printed, {apart} min apart")
            breaches += bool(said)
            for one in said[:2]:
                print(f"room {n}: BREACH {one}")
            if found.method == "found":
                best = booked(works, LONG)
                if best.method in ("best possible", "found"):
                    later.append(found.ends_min - best.ends_min)
            else:
                later.append(0)
            able = [able[0] + 1, able[1] + 1]
            continue
        changes.append(len(found.changes))
        if found.method == "undecided":
            best = booked(works, LONG)
            print(f"room {n}: undecided; with more time: {best.method}")
            able[1] += bool(best.rows)
        else:
            proofs += 1
            orders = random.Random(n)  # how many are tried depends on the clock; the rooms do not
            attacked = all(by_list(work, orders, 60, 1.0) for work in works)
            by_bound = any(bound(work)[1] > work.horizon_min for work in works)
            again = [solved(work, LONG)[0] for work in works] if by_bound else ["impossible"]
            if attacked or "impossible" not in again:
                refuted.append(n)
                print(f"room {n}: IMPOSSIBLE REFUTED ({attacked}, {again}): {found.because}")
    print(f"{rooms} rooms, seed {seed}: {told}")
    print(f"breaches {breaches}; 'impossible' {proofs}, of them refuted {len(refuted)}")
    print(
        f"rooms that can be done {able[1]}, done {able[0]} ({100 * able[0] / max(able[1], 1):.1f} %)"
    )
    print(
        f"processor seconds a room: median {statistics.median(took):.2f}, 95 % {sorted(took)[int(0.95 * rooms)]:.2f}, most {max(took):.2f}"
    )
    later.sort()
    print(
        f"minutes later than the best known: median {statistics.median(later)}, 95 % {later[int(0.95 * len(later))]}, most {later[-1]}"
    )
    print(
        f"single changes listed for an impossible room: mean {statistics.fmean(changes or [0]):.1f}, none {changes.count(0)} of {len(changes)}"
    )


if __name__ == "__main__":
    main(*(int(a) for a in (*sys.argv[1:], *("200", "41")[len(sys.argv) - 1 :])))
