"""The working can be redone, and the reader that redoes it can fail."""

import csv
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import numpy as np
import pytest
from pencil import assert_pencil, redo

from kit.errors import UnknownName
from kit.working import Result, figure, notes_of, step, steps_of, working_of


def test_the_numbers_are_put_in_for_the_symbols_only():
    made = step(
        "Added water",
        "AW = TW − 4 × (TP − max(P − 1, 0))",
        10.0,
        "%",
        TW=(56, "%"),
        TP=(13, "%"),
        P=(2.5, "%"),
    )
    assert made.put_in == "56 − 4 × (13 − max(2.5 − 1, 0))"
    assert str(made).endswith("= 10 %")
    assert redo(made) == pytest.approx(10.0)


def test_a_wrong_answer_is_caught():
    wrong = step("Fat", "F = a × b / 100", 13.0, "kg", a=(40, "kg"), b=(30, "%"))
    with pytest.raises(AssertionError, match="a pencil gets 12"):
        assert_pencil([wrong])


def test_a_term_that_is_not_in_the_formula_is_caught():
    with pytest.raises(AssertionError, match="not in"):
        assert_pencil([step("Sum", "s = a + a", 2.0, a=1, b=5)])


def test_what_rounding_left_of_nothing_is_nothing():
    a, b = 0.1 + 0.2, 0.3
    assert step("Loss", "L = M − A", a - b, "kg", M=(a, "kg"), A=(b, "kg")).answered == "0 kg"
    share = step("Share", "s = L / M", 0.0, "%", L=(-1.4e-14, "kg"), M=(100, "kg"))
    assert share.put_in == "0 / 100"
    small = step("Diffusion", "D = k / c", 4.7e-11, "m²/s", k=(4.7e-8, "W/(m K)"), c=(1000, "J"))
    assert small.answered == f"{figure(4.7e-11)} m²/s"


def test_no_working_at_all_is_caught():
    with pytest.raises(AssertionError, match="no working"):
        assert_pencil([])


@pytest.mark.parametrize(
    "value, text",
    [
        (0, "0"),
        (12.0, "12"),
        (0.000156, "0.000156"),
        (156.25, "156.25"),
        (-3.5, "−3.5"),
        (1234567, "1234567"),
        (1e12, "1e+12"),
    ],
)
def test_figures_are_written_as_by_hand(value, text):
    assert figure(value) == text


@dataclass(frozen=True)
class Inner(Result):
    kg: float


@dataclass(frozen=True)
class Outer(Result):
    first: Inner
    rest: tuple[Inner, ...]
    named: dict
    many: np.ndarray


def test_a_result_gathers_what_its_parts_say_each_thing_once():
    a = Inner(
        1.0,
        own_notes=("cold",),
        own_sources=("table 1",),
        own_working=(step("Sum", "s = a + b", 3.0, "kg", key="sum", a=1, b=2),),
    )
    b = Inner(2.0, own_notes=("cold", "wet"), own_sources=("table 2",))
    whole = Outer(
        a,
        (b,),
        {"third": Inner(3.0, own_notes=("dry",))},
        np.arange(5.0),
        own_notes=("all",),
        own_sources=("table 1",),
    )
    assert whole.notes == ("cold", "wet", "dry", "all")
    assert whole.sources == ("table 1", "table 2")
    assert [s.key for s in whole.working] == ["sum"]
    assert steps_of(whole.working, "sum")[0].answer == 3.0
    with pytest.raises(UnknownName, match="nearest: sum"):
        steps_of(whole.working, "sums")


def test_a_result_prints_in_forty_lines():
    text = str(
        Outer(Inner(1.0), (), {}, np.arange(5.0), own_notes=tuple(f"note {n}" for n in range(100)))
    )
    assert len(text.split("\n")) == 40
    assert "many: 5 values, 0 to 4" in text


def test_a_result_may_say_itself_which_of_its_parts_count():
    @dataclass(frozen=True)
    class Pair(Result):
        first: Result
        second: Result

        def parts(self):
            yield self.second

    pair = Pair(Result(own_notes=("first",)), Result(own_notes=("second",)), own_notes=("own",))
    assert pair.notes == ("second", "own")


def test_a_working_of_data_gets_its_numbers_and_leaves_out_what_has_no_answer():
    one, two = working_of("energy of a log", E=6.0, r=2.0, t=3.0, P=5.0, M=(150.0, "kg"))
    assert redo(one) == 6 and one.terms[0].unit == "kJ/(kg min)" and two.terms[1].meaning == ""
    assert working_of("energy of a log", E=6.0, r=2.0, t=3.0) == (one,)


def test_a_note_of_data_holds_unless_it_is_denied():
    last = notes_of("brine", {"grows": "", "unusual": True}, strength=3.0, low=4.0, high=6.0)[-1]
    assert last.startswith("brine strength 3 % lies outside 4 to 6 %")
    assert len(notes_of("brine", {"grows": False, "unusual": False})) == 1
    with pytest.raises(UnknownName, match="note of brine 'unusul'"):
        notes_of("brine", {"unusul": False})


@pytest.mark.parametrize("name", ["notes", "working"])
def test_every_row_of_words_is_asked_for(name):
    root = Path(__file__).resolve().parents[1]
    code = "\n".join(path.read_text(encoding="utf-8") for path in (root / "kit").rglob("*.py"))
    with (root / "data" / "words" / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
        names = [row["of"] for row in csv.DictReader(handle)]
    asked = set(names)
    assert len([*groupby(names)]) == len(asked), "one name stands for rows of two places"
    of_lessons = {of for of in asked if of[0].isdigit()}  # a lesson may make them up
    assert {of for of in asked - of_lessons if f'"{of}"' not in code} == set()
