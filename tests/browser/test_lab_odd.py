"""The second, fourth, sixth ... notebook in a real browser; see lab_checks.py."""

from lab_checks import *  # noqa: F403
from lab_checks import NOTEBOOKS, shared_out

del test_too_much_ice_is_said_with_the_cook_unfolded  # noqa: F821  none of these notebooks is watched by it


def pytest_generate_tests(metafunc):
    if "opened" in metafunc.fixturenames:
        shared_out(metafunc, NOTEBOOKS[1::2])
