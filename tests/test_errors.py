"""Errors say what, where, the limit and what to try."""

import re
from pathlib import Path

import pytest

from kit.errors import Fault, Faulty, OutOfRange, UnknownName, nearest, need_between
from kit.tables import rows_by

ROOT = Path(__file__).resolve().parents[1]


def test_an_unknown_name_offers_three_and_guesses_none():
    with pytest.raises(UnknownName, match="pork trim 80/20") as caught:
        raise UnknownName(
            "material",
            "prok trim 80",
            ["pork trim 80/20", "pork trim 50/50", "beef chuck", "turkey skin"],
        )
    assert len(caught.value.near) == 3


def test_word_order_does_not_hide_a_name():
    assert nearest("trim pork", ["beef shank", "pork trim", "pork jowl"])[0] == "pork trim"


@pytest.mark.parametrize("value", [-1, 101, float("nan"), float("inf"), "lots", None])
def test_between_names_value_and_both_limits(value):
    with pytest.raises(OutOfRange, match="fat_pct is"):
        need_between("fat_pct", value, 0, 100)


def test_all_faults_are_told_at_once_with_their_place():
    faults = [
        Fault(
            "amount −3 kg is below 0",
            field="amount",
            row=4,
            column="C",
            file="a.csv",
            remedy="write a positive mass",
        ),
        Fault("no meat"),
    ]
    with pytest.raises(Faulty) as caught:
        raise Faulty("a.csv cannot be used", faults)
    assert str(caught.value).splitlines() == [
        "a.csv cannot be used: 2 faults",
        "  1. a.csv, row 4, column C, amount: amount −3 kg is below 0 — write a positive mass",
        "  2. no meat",
    ]


def test_every_fault_that_is_said_has_its_words_and_none_is_left_over():
    code = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "kit").rglob("*.py"))
    said, keys = (
        set(
            re.findall(r"\b(?<!self\.)(?<!reader\.)(?<!said\.)(?:say|stop)\(\s*\"([^\"]+)\"", code)
        ),
        set(rows_by("key", "words", "faults.csv")),
    )
    built = {
        "mixed comma",
        "unclear comma",
        "mixed commas",
        "unclear commas",
        "no month",
        "no year",
    }
    assert len(said) > 60 and said <= keys
    assert [key for key in keys - built if f'"{key}"' not in code] == []
