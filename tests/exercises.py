"""What every exercise of a lesson must hold: it knows its answer, also rounded, names each usual slip, refuses a wrong answer, and can be redone by hand."""

import pytest
from pencil import assert_pencil


def assert_exercise(exercise, ends_on_answer: bool = True) -> None:
    """`ends_on_answer`: the last step of the working is the answer itself."""
    answer, working = exercise.solve()
    assert exercise.check(answer).startswith("Right") and exercise.check(
        f"{answer:.4f}"
    ).startswith("Right")
    assert exercise.check(answer * 1.37 + 5).startswith("Not right")
    for words, slip in exercise.slips:
        assert words in exercise.check(slip())
    assert_pencil(working)
    assert not ends_on_answer or working[-1].answer == pytest.approx(answer)
    assert exercise.hint(1) != exercise.hint(2)
