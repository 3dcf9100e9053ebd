"""Exercises of the stations and the marks of a class. Every answer is worked out here once more from the words of the question alone; no code is shared with the kit."""

import csv
import io
import random
import re
import statistics as st
from dataclasses import replace
from itertools import combinations

import pytest
from exercises import assert_exercise
from scipy.stats import t as student

from kit.classroom.codes import WrongCode, code, read_station, station_code
from kit.classroom.hand_in import HandIn, MarkTable, TypedAnswer
from kit.classroom.results import decided
from kit.errors import Faulty, KitError, OutOfRange
from kit.files import put
from kit.lab.lessons.marks import mark
from kit.lab.lessons.station import WORKED_EXAMPLE, exercises
from kit.lab.pages.class_marks import marks_html, write_marks
from kit.reading.class_decisions import read_decisions
from kit.reading.class_hand_in import hand_in_toml, read_hand_in, read_hand_ins
from kit.reading.class_plan import plan_toml, read_plan
from kit.reading.class_results import read_results
from kit.tables import data_path

FOLDER = data_path("demo", "class")
PLAN = read_plan(data_path("demo", "class", "plan.toml"))
BIG = replace(PLAN, stations=30, tubes=2)
NUMBER = r"−?\d+(?:\.\d+)?"


def numbers(text):
    return [float(one.replace("−", "-")) for one in re.findall(NUMBER, text)]


# answers and usual errors, worked out from the question's own words


def salt(q):
    meat, share, pct = numbers(q)
    return pct / 100 * meat / (share / 100), [pct / 100 * meat, pct / 100 * meat * share / 100]


def nitrite(q):
    rate, strength, share, ceiling = numbers(q)
    ppm = rate / 100 * strength / 100 * 1e6
    return ceiling - ppm, [ceiling - ppm * share / 100, ceiling - rate * 1e4, ppm - ceiling]


def loss(q):
    empty, filled, after, ml = numbers(q)
    net, lost = filled - empty, filled - after
    return lost / net * 100, [lost / filled * 100, ml / net * 100, 100 - lost / net * 100]


def scatter(q):
    x = numbers(q)
    return st.stdev(x), [st.pstdev(x), st.variance(x), max(x) - min(x)]


def effect(q):
    stations = [numbers(one) for one in q.split(": ")[1].split(". ")[0].split("; ")]
    gaps = [one[1] - one[0] for one in stations if len(one) == 2]
    a = [one[0] for one in stations]
    b = [one[1] for one in stations if len(one) == 2]
    assert len(gaps) == 6 and len(stations) == 7
    return st.mean(gaps), [st.mean(b) - st.mean(a), sum(gaps), sum(gaps) / 7, -st.mean(gaps)]


def half_width(q):
    n, each, tubes, s, t = numbers(q.split(" What ")[0])
    assert tubes == n * 2 * each and t == pytest.approx(student.ppf(0.975, n - 1), abs=6e-4)
    return t * s / n**0.5, [t * s / tubes**0.5, t * s, t * s / n, s / n**0.5]


def stations(q):
    n = numbers(q)[0]
    return 4 * n, [2 * n, 3 * n]


def sentence(q):
    ask, *said = q.split("\n")
    value, half, worth = numbers(ask)[1], numbers(ask)[2], numbers(ask)[4]
    low, high = value - half, value + half
    if low > 0 or high < 0:
        word, usual = ("raised" if low > 0 else "lowered"), "could not tell"
    elif -worth < low and high < worth:
        word, usual = "smaller than", "could not tell"
    else:
        word, usual = "could not tell", "raised"
    place = {w: n for n, one in enumerate(said) for w in (word, usual) if w in one}
    return place[word], [place[usual]]


REDO = (salt, nitrite, loss, scatter, effect, half_width, stations, sentence)


@pytest.mark.parametrize("first", range(0, 1000, 100))
def test_every_answer_and_every_usual_error_is_redone_by_hand(first):
    """Seeds 0 to 999, a station each: 1 to 99 and the worked example in turn."""
    for seed in range(first, first + 100):
        for one, redo in zip(exercises(seed, seed % 100), REDO, strict=True):
            truth, errors = redo(one.question)
            assert one.solve()[0] == pytest.approx(truth, abs=1e-9), one.question
            assert sorted(number() for _, number in one.slips) == pytest.approx(sorted(errors))
            assert one.judge(one.shown(truth))[0] == "right"
            for wrong in errors:
                kind, words = one.judge(one.shown(wrong))
                assert kind == "usual error", (one.question, wrong, words)


@pytest.mark.parametrize("n", range(8))
def test_exercises_hold_what_every_exercise_of_a_lesson_holds(n):
    one = exercises(PLAN.seed, 3)[n]
    if n < 7:
        assert_exercise(one)
        return
    right = one.shown(one.solve()[0])
    assert one.check(right.lower() + ")") == f"Right: {right}."
    for bad in ("E", "AB", "1", "", "right"):
        with pytest.raises(KitError, match="one letter"):
            one.check(bad)


def test_no_two_stations_of_a_class_share_an_exercise_and_one_station_keeps_its_numbers():
    """All 99 stations and the worked example, seeds taken all over: no two share even half of their questions."""
    for seed in (0, 7, 999, 20261128, 2**31):
        asked = [tuple(one.question for one in exercises(seed, n)) for n in range(100)]
        for a, b in combinations(asked, 2):
            assert sum(x == y for x, y in zip(a, b, strict=True)) < 4
    exercises.cache_clear()
    again = tuple(one.question for one in exercises(2**31, 99))
    assert again == asked[99]


def test_a_paper_batter_stays_below_the_ceiling_and_no_grams_of_a_cure_are_asked():
    for seed in range(1000):
        one = exercises(seed, 1 + seed % 99)[1]
        assert nitrite(one.question)[0] > 1, "below the ceiling, and told from a wrong sign"
        shown = " ".join([one.question, *one.hints, one.solution(), *(w for w, _ in one.slips)])
        assert not re.search(r"\d\s*(?:g|mg|kg|oz|lb|gram\w*)\b", shown)


# codes of stations


def test_a_station_s_code_catches_every_wrong_digit_and_exchange():
    tried = 0
    for class_number in (1, 7, 17, 100, 9999):
        for station in (1, 3, 10, 99):
            good = station_code(station, class_number)
            assert read_station(f" {good.lower().replace('-', ' ')} ") == (station, class_number)
            places = [n for n, sign in enumerate(good) if sign.isdigit()]
            wrong = {good[:n] + d + good[n + 1 :] for n in places for d in "0123456789"}
            for a, b in zip(places, places[1:]):
                signs = list(good)
                signs[a], signs[b] = signs[b], signs[a]
                wrong.add("".join(signs))
            for one in wrong - {good}:
                tried += 1
                with pytest.raises(WrongCode):
                    read_station(one)
    assert tried > 900
    for bad in ("", "3", "S03", code(3, 1, 1), "17.03.2", "S00C17-1", "S03C017-7"):
        with pytest.raises(WrongCode):
            read_station(bad)


# marks


def answered(plan, station, rng):
    """A hand-in, and the marks that it is worth by the rules in words: last entry, hints, entries."""
    answers, marks = [], 0
    for redo, one in zip(REDO, exercises(plan.seed, station), strict=True):
        truth, errors = redo(one.question)
        write = (lambda x: "ABCD"[round(x)]) if redo is sentence else (lambda x: f"{x:.6g}")
        wrong = (
            next(x for x in range(4) if x not in (truth, *errors))
            if redo is sentence
            else truth * 1.37 + 5
        )
        done = rng.choice(["right", "hint", "second", "usual", "wrong", "blank", "junk"])
        typed, hints, worth = {
            "right": ([truth], 0, 2),
            "hint": ([truth], 2, 1),
            "second": ([wrong, truth], 0, 1),
            "usual": ([truth * 1.37 + 5 if redo is not sentence else wrong, rng.choice(errors)], 0, 1),
            "wrong": ([rng.choice(errors), wrong], 1, 0),
            "blank": ([], 1, 0),
            "junk": (["?"], 0, 0),
        }[done]  # fmt: skip
        entries = tuple(x if isinstance(x, str) else write(x) for x in typed)
        answers.append(TypedAnswer(entries, hints))
        marks += worth
    whole = HandIn(
        plan.class_number,
        station,
        plan.fingerprint,
        "2,5",
        "2026-11-28T09:00",
        answers=tuple(answers),
        conclusion="more",
        handed_in_at="2026-11-28T11:00",
    )
    return whole, marks


def test_thirty_hand_ins_five_of_them_faulty_and_one_of_another_class():
    import time

    rng = random.Random(14)
    made = {n: answered(BIG, n, rng) for n in range(1, 31)}
    files = {one.file_name: hand_in_toml(one).encode() for one, _ in made.values()}
    forged = replace(made[30][0], class_number=18)
    spoilt = {
        "hand_in_03.toml": files["hand_in_03.toml"].replace(b'guess = "2,5"', b'guess = "9"'),
        "hand_in_07.toml": files["hand_in_07.toml"][:-60],
        "hand_in_11.toml": b"",
        "hand_in_19.toml": files["hand_in_19.toml"].replace(b"hints = ", b"hints = -"),
        "hand_in_23.toml": hand_in_toml(replace(made[23][0], plan="0" * 8)).encode(),
        "hand_in_30.toml": hand_in_toml(forged).encode(),
    }
    assert len(files) == 30 and all(files[name] != held for name, held in spoilt.items())
    assert BIG.design.stations == 30  # what the teacher has before a hand-in comes
    start = time.perf_counter()
    found = mark(list((files | spoilt).items()), BIG)
    marks_html(found)
    took = time.perf_counter() - start
    assert {one.file for one in found.faults} == set(spoilt)
    assert all(one.remedy for one in found.faults)
    marked = {one.hand_in.station: one.marks for one in found.stations}
    assert marked == {n: worth for n, (_, worth) in made.items() if n not in (3, 7, 11, 19, 23, 30)}
    assert found.missing == (3, 7, 11, 19, 23, 30) and len(set(marked.values())) > 3
    assert took < 2


def test_marks_follow_the_table_of_the_plan():
    plan = replace(PLAN, marks=MarkTable(10, 6, 3, 1, 0))
    assert read_plan(plan_toml(plan)).marks == plan.marks and plan.fingerprint == PLAN.fingerprint
    found = mark(FOLDER, plan)
    assert [one.marks for one in found.stations][:2] == [80, 66] and found.most == 80
    with pytest.raises(Faulty, match="right is 21"):
        read_plan(plan_toml(PLAN).replace("right = 2\n", "right = 21\n"))
    with pytest.raises(OutOfRange, match="usual_error"):
        MarkTable(2, 1, -1, 0, 0)


def test_the_demo_class_is_marked_with_its_usual_errors_and_own_losses():
    found = mark(FOLDER, PLAN)
    assert [one.marks for one in found.stations] == [16, 14, 14, 14, 13, 13, 8, 13]
    assert not found.faults and not found.missing
    assert [one.own_right for one in found.stations] == [
        *["6 of 6"] * 5,
        "5 of 5",
        "6 of 6",
        "5 of 6",
    ]
    assert {(n, k) for n, _, k in found.usual_errors} == {
        (1, 2),
        (5, 2),
        (6, 2),
        (7, 2),
        (5, 1),
        (8, 1),
    }
    rows = list(csv.DictReader(io.StringIO(found.csv())))
    assert len(rows) == 8 and {row["conclusion_marks_by_teacher"] for row in rows} == {""}
    assert all((FOLDER / f"hand_in_0{n}.toml").read_text().startswith("# Invented") for n in range(1, 9))  # fmt: skip


def test_a_guess_stands_beside_the_class_s_effect_once_it_is_decided(tmp_path):
    results = decided(read_results(FOLDER, PLAN), read_decisions(FOLDER / "decisions.toml"))
    answer, found = results.answer, mark(FOLDER, PLAN)
    own = [one.own_right for one in mark(FOLDER, PLAN, results, answer).stations]
    assert own == [one.own_right for one in found.stations], "checked as it was read"
    assert found.effect_points == answer.effects[0].found.value and found.sentence in marks_html(
        found
    )
    for path in FOLDER.iterdir():
        if path.name != "decisions.toml":
            (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "station_02.xlsx").write_bytes((tmp_path / "station_01.xlsx").read_bytes())
    undecided = mark(tmp_path, PLAN)
    assert undecided.sentence == "" and undecided.effect_points is None, "findings are open"
    assert "not the file that the station used" in undecided.stations[1].notes[0]
    (tmp_path / "decisions.toml").write_text("kind = 1")
    assert "no sentence" in str(mark(tmp_path, PLAN).faults[0])


def test_what_a_person_wrote_is_escaped_on_the_page_and_harmless_in_the_table():
    one = answered(PLAN, 2, random.Random(1))[0]
    bad = replace(one, conclusion="=1+1<script>alert(1)</script>", guess="<b>2</b>")
    bad = replace(bad, answers=(TypedAnswer(("<img src=x>",), 0), *bad.answers[1:]))
    found = mark([("a.toml", hand_in_toml(bad))], PLAN)
    page, table = marks_html(found), found.csv()
    assert "<script" not in page and "<img" not in page and "&lt;script" in page
    assert "'=1+1" in table and found.stations[0].guess_points is None
    assert any("guess" in note for note in found.stations[0].notes)


def test_table_and_page_are_written_over_nothing_unasked(tmp_path):
    found = mark(FOLDER, PLAN)
    table, page = write_marks(found, tmp_path)
    assert table.read_text(encoding="utf-8") == found.csv() and page.name == "marks.html"
    with pytest.raises(KitError, match="exists"):
        write_marks(found, tmp_path)


def test_what_is_not_handed_in_is_marked_as_far_as_it_came_and_says_so():
    one = replace(answered(PLAN, 2, random.Random(1))[0], handed_in_at="")
    found = mark([("a.toml", hand_in_toml(one))], PLAN)
    assert found.stations[0].notes == ("not handed in: marked as far as it came",)


# the file


def test_a_hand_in_is_read_back_as_it_was_written(tmp_path):
    one, _ = answered(PLAN, 2, random.Random(5))
    one = replace(one, conclusion='„Mehr" \\ = 2\n', tubes={code(2, 1, 1): "7,0"})
    path = put(tmp_path / one.file_name, hand_in_toml(one))
    assert path.name == "hand_in_02.toml" and read_hand_in(path, PLAN) == one
    assert "no protection" in path.read_text(encoding="utf-8").splitlines()[0]
    with pytest.raises(KitError, match="exists"):
        put(path, hand_in_toml(one))
    (tmp_path / "notes.toml").write_text("x = 1")
    assert read_hand_ins(tmp_path, PLAN) == ((one,), ())


def test_of_two_different_files_of_a_station_none_counts_and_both_are_named():
    one, _ = answered(PLAN, 2, random.Random(5))
    other = replace(one, conclusion="less")
    files = [(name, hand_in_toml(x)) for name, x in (("a.toml", one), ("b.toml", other))]
    taken, faults = read_hand_ins(files, PLAN)
    assert taken == () and {fault.file for fault in faults} == {"a.toml", "b.toml"}
    assert len(read_hand_ins([files[0], ("c.toml", files[0][1])], PLAN)[0]) == 1


GOOD = hand_in_toml(answered(PLAN, 2, random.Random(5))[0])


@pytest.mark.parametrize(
    "old, new, said",
    [
        ("", "", ""),
        ('kind = "class hand-in"', 'kind = "class plan"', "no class hand-in"),
        ("station = 2", "station = 9", "not in this plan"),
        ("station = 2", 'station = "2"', "station is '2'"),
        ("station = 2", "station = true", "station is True"),
        ("class_number = 17", "class_number = 18", "class 18"),
        ("version = 1", "version = 2", "version is 2"),
        ("hints = 0", "hints = 0\nhints = 1", "given twice"),
        ("number = 8", "number = 9", "exercise.number: number is 9"),
        ('guess = "2,5"', "guess = 2.5", "guess is 2.5"),
        ('guess = "2,5"', f'guess = "{"9" * 3000}"', "guess is"),
        ('guess = "2,5"', 'guess = "2,6"', "sum does not fit"),
        ('conclusion = "more"', 'conclusion = "more"\nnote = "x"', "'note' is not known"),
        ("[[exercise]]", "[[exercises]]", "not known"),
        ("typed = [", "typed = [1, ", "typed is [1"),
        ("[[exercise]]", "[exercise]", ""),
    ],
)
def test_a_hand_in_that_cannot_be_used_names_its_file_place_and_remedy(old, new, said):
    if not old:
        assert read_hand_in(GOOD, PLAN).station == 2
        return
    assert old in GOOD
    with pytest.raises(Faulty) as caught:
        read_hand_in(GOOD.replace(old, new).encode(), PLAN, "x.toml")
    assert said in str(caught.value) and all(f.file == "x.toml" for f in caught.value.faults)
    assert all(f.remedy for f in caught.value.faults)


def test_any_byte_that_is_changed_or_cut_is_seen_or_harmless():
    """500 random changes of one file: refused, or read as the very same hand-in."""
    rng, whole, seen = random.Random(3), GOOD.encode(), 0
    for _ in range(500):
        at, what = rng.randrange(len(whole)), rng.randrange(3)
        bad = whole[:at] + (b"", bytes([rng.randrange(256)]), b"")[what] + whole[at + 1 :]
        bad = whole[:at] if what == 2 else bad
        try:
            assert read_hand_in(bad, PLAN, "x.toml") == read_hand_in(GOOD, PLAN)
        except KitError:
            seen += 1
    assert seen > 300


def test_the_worked_example_is_no_station_s():
    asked = {one.question for n in range(1, 100) for one in exercises(PLAN.seed, n)}
    shared = [one for one in exercises(PLAN.seed, WORKED_EXAMPLE) if one.question in asked]
    assert len(shared) <= 1
