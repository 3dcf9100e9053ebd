"""One home for how the tests run: hypothesis is deterministic, a skip under CI is a failure."""
import os
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

sys.path.insert(0, str(Path(__file__).parent))

settings.register_profile("house", derandomize=True, deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and os.environ.get("CI") and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped; under CI a skipped test is a failure: {report.longrepr}"
    return report
