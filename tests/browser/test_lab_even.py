"""The first, third, fifth ... notebook in a real browser; see lab_checks.py."""

from lab_checks import *  # noqa: F403
from lab_checks import NOTEBOOKS, shared_out

del test_presets_of_the_cook_say_the_same_after_every_other  # noqa: F821  none of these notebooks is watched by it


def pytest_generate_tests(metafunc):
    if "opened" in metafunc.fixturenames:
        shared_out(metafunc, NOTEBOOKS[0::2])
