"""The second, fourth, sixth ... notebook in a real browser; see lab_checks.py."""

from lab_checks import *  # noqa: F403
from lab_checks import NOTEBOOKS, shared_out


def pytest_generate_tests(metafunc):
    if "opened" in metafunc.fixturenames:
        shared_out(metafunc, NOTEBOOKS[1::2])
