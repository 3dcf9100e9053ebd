"""Clock times and codes against figures from outside."""

import pytest

from kit.classroom.codes import check_digit
from kit.classroom.tasks import Task, Work
from kit.classroom.timetable import solved

THREE = ("0 3 1 2 2 2", "0 2 2 1 1 4", "1 4 2 3")
"""A job shop of three jobs (machine, minutes, ...), as a solver's documentation prints it (data read)."""
SIX = (
    "2 1 0 3 1 6 3 7 5 3 4 6",
    "1 8 2 5 4 10 5 10 0 10 3 4",
    "2 5 3 4 5 8 0 9 1 1 4 7",
    "1 5 0 5 2 5 3 3 4 8 5 9",
    "2 9 1 3 4 5 5 4 0 3 3 1",
    "1 3 3 3 5 9 0 10 4 4 2 1",
)
"""The classical job shop of six jobs on six machines (data read)."""


@pytest.mark.parametrize("jobs, length", [(THREE, 11), (SIX, 55)])
def test_job_shops_of_known_length(jobs, length):
    """Shortest lengths 11 and 55: from memory (high confidence), and proved anew by the solver here."""
    tasks, capacity = [], {}
    for n, job in enumerate(jobs):
        numbers, before = list(map(int, job.split())), None
        for step, (machine, minutes) in enumerate(zip(numbers[::2], numbers[1::2])):
            capacity[f"machine {machine}"] = 1
            key = (n, step, "step")
            after = {before: None} if before else {}
            tasks.append(Task(key, minutes, {f"machine {machine}": 1}, after))
            before = key
    method, start = solved(Work(tuple(tasks), capacity, 100))
    assert method == "best possible"
    assert max(start[t.key] + t.minutes for t in tasks) == length


def test_the_check_digit_of_the_encyclopaedia():
    """A totally anti-symmetric quasigroup of order 10: 572 gets 4, and 5724 comes to 0 (read in two copies)."""
    assert check_digit("572") == 4 and check_digit("5724") == 0


def test_no_three_digit_code_hides_a_slip():
    """Property of the same scheme (read): each of 1,000 codes with one wrong digit, or two neighbours exchanged, fails."""
    for n in range(1000):
        whole = f"{n:03d}{check_digit(f'{n:03d}')}"
        for at in range(4):
            assert all(
                check_digit(whole[:at] + d + whole[at + 1 :]) != 0
                for d in "0123456789"
                if d != whole[at]
            )
        for at in range(3):
            a, b = whole[at], whole[at + 1]
            assert a == b or check_digit(whole[:at] + b + a + whole[at + 2 :]) != 0
