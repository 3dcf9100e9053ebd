"""Writes data/demo/class: an invented class of eight stations with planted slips. Run it again and the files are the same, byte for byte.

Planted: after-bath weights of two tubes exchanged (station 2), one tube weighed in kilograms (3), a final chopping temperature in °F (4), a file handed in
twice (5), one tube never weighed (6), both batters late into the bath (7). The effect is 2.4 percentage points. In the hand-ins: usual errors (2, 5, 8), right answers
after a hint or a second try (3, 4, 6), blanks (7).
"""

import io
from pathlib import Path

import numpy as np
from openpyxl import load_workbook

from kit.classroom.codes import code, read_code
from kit.classroom.hand_in import HandIn, TypedAnswer
from kit.classroom.plan import ClassPlan
from kit.classroom.results import WEIGHTS, ClassDecision
from kit.classroom.tasks import ClassRoom, StepMinutes
from kit.files import put
from kit.lab.lessons.station import exercises
from kit.reading import read_sheet
from kit.reading.class_book import BATTERS, TUBES, _undated, station_book
from kit.reading.class_decisions import decisions_toml
from kit.reading.class_hand_in import fingerprint, hand_in_toml
from kit.reading.class_plan import plan_toml
from kit.reading.class_results import read_results
from kit.tables import data_path
from kit.trial.rehearse import simulated

EFFECT, SEED = 2.4, 20261129
NOTE = "Invented class: nobody weighed these tubes."
ANSWERED = {
    2: {1: "0", 5: "0"},
    3: {3: "wrong right", 6: "hint right"},
    4: {2: "hint hint right", 8: "wrong right"},
    5: {1: "0", 6: "0", 8: "0"},
    6: {4: "hint right", 5: "1 right", 7: "0"},
    7: {4: "blank", 6: "blank", 7: "wrong", 8: "blank"},
    8: {5: "0", 6: "0", 7: "0 right"},
}
"""station -> exercise -> what was pressed and typed: a usual error by its place, something wrong, the right answer; right at once where nothing stands"""
CONCLUSIONS = (
    "The warmer batter lost more; how much more differs between stations.",
    "At 18 °C it lost more than at 13 °C, by two or three percentage points, in our tubes.",
    "Warm chopping is bad.",
    "We saw no difference at our station, the class did.",
    "18 °C proves that fat melts.",
    "B lost about 2 percentage points more than A; the interval of the class leaves 0 out.",
    "",
    "More loss at the higher final chopping temperature, for this batter and this bath.",
)
GUESSES = ("2", "1,5", "5", "0", "-1", "3", "2.5", "4")


def the_plan() -> ClassPlan:
    """Eight stations, two batters of three tubes, 13 and 18 °C, dry goods weighed beforehand."""
    return ClassPlan(
        read_sheet(data_path("demo", "teaching_kitchen.toml")),
        tubes=3,
        class_number=17,
        seed=20261128,
        room=ClassRoom(balances=8),
        minutes=StepMinutes(4.0, 6.0, 5.0, 30.0, 5 / 3),
        prices={"pork shoulder": 6.5, "pork backfat": 3.0},
    )


def books(plan: ClassPlan) -> dict[str, bytes]:
    """File name -> workbook, filled in."""
    rng = np.random.default_rng(SEED)
    losses = simulated(plan.design, plan.spread, EFFECT, rng)
    loss = {(one.station, one.batter, one.tube): one.loss_pct for one in losses}
    level = {
        (u.station, u.batter): plan.design.question.treatments[u.treatment][0]
        for u in plan.design.units
    }
    bath = {row.key[:2]: row.start_min for row in plan.timetable.rows if row.key[2] == "bath"}
    found = {}
    for station in range(1, plan.stations + 1):
        book = load_workbook(io.BytesIO(station_book(plan, station)))
        tubes, batters = book[TUBES], book[BATTERS]
        weights = {}
        for row in range(2, tubes.max_row + 1):
            key = read_code(tubes.cell(row, 2).value)
            empty = round(13 + rng.normal(0, 0.05), 2)
            filled = round(empty + tubes.cell(row, 6).value + rng.normal(0, 0.2), 2)
            after = round(filled - (filled - empty) * loss[key] / 100, 2)
            fold = 5 if loss[key] < 8 else 4 if loss[key] < 10 else 3
            weights[row] = [empty, filled, after, fold, round(8 + loss[key] / 4, 1)]
        if station == 2:
            weights[2][2], weights[6][2] = weights[6][2], weights[2][2]
        if station == 3:
            weights[3][:3] = [round(w / 1000, 5) for w in weights[3][:3]]
        if station == 6:
            weights[7] = []
        for row, values in weights.items():
            for n, value in enumerate(values):
                tubes.cell(row, 7 + n).value = value
            tubes.cell(row, 12).value = NOTE
        for row in range(2, batters.max_row + 1):
            batter = (station, batters.cell(row, 3).value)
            end = level[batter] + round(rng.normal(0, 0.5), 1)
            into = bath[batter] + (25 if station == 7 else 1)
            second = round(end + rng.normal(0, 0.2), 1)
            values = [round(end, 1), second, 6.0, into, into + 30]
            if station == 4 and row == 2:
                values[:2] = [round(32 + 1.8 * one, 1) for one in values[:2]]
            for n, value in enumerate(values):
                batters.cell(row, 4 + n).value = value
        out = io.BytesIO()
        book.save(out)
        found[f"station_{station:02d}.xlsx"] = _undated(out.getvalue())
    return found | {"station_05_again.xlsx": found["station_05.xlsx"]}


def hand_ins(plan: ClassPlan, whole: dict[str, bytes]) -> dict[str, bytes]:
    """File name -> what a station handed in; its own losses are those of its own weights, one of them over tube and batter together (station 8)."""
    losses = {t.key: t for t in read_results(list(whole.items()), plan).tubes if t.whole}
    found = {}
    for station in range(1, plan.stations + 1):
        answers = []
        for n, one in enumerate(exercises(plan.seed, station), 1):
            typed, hints = [], 0
            for done in ANSWERED.get(station, {}).get(n, "right").split():
                hints += done == "hint"
                if done not in ("hint", "blank"):
                    typed.append(_typed(one, done))
            answers.append(TypedAnswer(tuple(typed), hints))
        tubes = {code(*key): f"{t.loss_pct:.2f}" for key, t in losses.items() if key[0] == station}
        if station == 8:
            t = losses[8, 1, 1]
            tubes[code(*t.key)] = f"{100 * (t.filled_g - t.after_g) / t.filled_g:.2f}"
        book = f"station_{station:02d}.xlsx"
        one = HandIn(
            plan.class_number,
            station,
            plan.fingerprint,
            GUESSES[station - 1],
            f"2026-11-28T09:{10 + station}",
            book,
            fingerprint(whole[book]),
            CONCLUSIONS[station - 1],
            f"2026-11-30T11:{20 + station}",
            tuple(answers),
            tubes,
        )
        text = f"# Invented: nobody answered this.\n{hand_in_toml(one)}"
        found[one.file_name] = text.encode()
    return found


def _typed(one, done: str) -> str:
    if done == "right":
        return one.shown(one.solve()[0])
    if done == "wrong":
        right = one.solve()[0]
        known = {round(number()) for _, number in one.slips} | {round(right)}
        return (
            one.shown(next(k for k in range(4) if k not in known))
            if one.unit == ""
            else f"{right * 1.37 + 5:.2f}"
        )
    return one.shown(one.slips[int(done)][1]())


def decisions(plan: ClassPlan, whole: dict[str, bytes]) -> list[ClassDecision]:
    """What the invented teacher decided on each finding, with the reason; written down, nothing else."""
    why = {
        "temperature in °F": "the thermometer was on °F; no weight depends on it",
        "station apart in scatter": "it comes from the exchanged tubes of this station",
        "missing": "the tube broke in the bath",
        "late into the bath": "both batters of the station waited alike",
    }
    found = []
    results = read_results([one for one in whole.items() if one[0].endswith(".xlsx")], plan)
    for one in results.findings:
        if one.kind == "filled weight off":
            tube = next(t for t in results.tubes if t.key == one.keys[0])
            reason = "the balance showed kilograms; the paper has grams"
            found += [
                ClassDecision(
                    one.key, "correct", reason, code(*tube.key), name, round(1000 * kg, 2)
                )
                for name, kg in vars(tube).items()
                if name in WEIGHTS
            ]
        elif one.kind == "two tubes exchanged":
            reason = "the recorder remembers two labels in one hand"
            found.append(ClassDecision(one.key, "exchange", reason))
        else:
            found.append(ClassDecision(one.key, "keep", why[one.kind]))
    return found


def main() -> None:
    folder, plan = Path(data_path("demo", "class")), the_plan()
    folder.mkdir(exist_ok=True)
    (folder / "plan.toml").write_bytes(plan_toml(plan).encode())
    whole = books(plan)
    for name, held in (whole | hand_ins(plan, whole)).items():
        (folder / name).write_bytes(held)
    put(folder / "decisions.toml", decisions_toml(decisions(plan, whole)), overwrite=True)


if __name__ == "__main__":
    main()
