"""`kit.doctor()`, as the first page and the README advise it: as often as a person likes, in one session."""

from pathlib import Path

import kit


def test_the_doctor_answers_again_and_again():
    first, second = kit.doctor(), kit.doctor()
    assert str(first) == str(second) and len(first.checks) > 10
    assert first.details().count("\n") == len(first.checks) - 1


def test_no_call_bears_the_name_of_a_module():
    """The import of kit/x.py puts the module in the place of kit.x, so a call of that name would answer only once."""
    for call in kit._CALLS:
        assert not list(Path(kit.__file__).parent.glob(f"{call}*")), call
