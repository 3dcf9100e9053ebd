"""The working can be redone, and the reader that redoes it can fail."""
import pytest
from pencil import assert_pencil, redo

from kit.working import figure, step


def test_the_numbers_are_put_in_for_the_symbols_only():
    made = step("Added water", "AW = TW − 4 × (TP − max(P − 1, 0))", 10.0, "%", TW=(56, "%"), TP=(13, "%"), P=(2.5, "%"))
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


def test_no_working_at_all_is_caught():
    with pytest.raises(AssertionError, match="no working"):
        assert_pencil([])


@pytest.mark.parametrize("value, text", [(0, "0"), (12.0, "12"), (0.000156, "0.000156"), (156.25, "156.25"), (-3.5, "−3.5"), (1234567, "1234567"), (1e12, "1e+12")])
def test_figures_are_written_as_by_hand(value, text):
    assert figure(value) == text
