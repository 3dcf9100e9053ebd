"""What does this temperature record show, against which table?

    reading = read_log("cook.csv")                                     kit.reading.logs
    cores = traces_of_log(reading, ["core 1", "core 2"])
    implausible(cores, diameter_mm=26)                             why these readings cannot be true, if so
    page = record(cores, "meat", cured=True, probe_error_K=0.5)
    p70_minutes(time_s, cloud_C), meets_table(time_s, cloud_C, hold_table("meat 7 log"), "meat")      arrays (m, n)

It validates nothing. A meat table never speaks for poultry; nothing is counted below 130 °F.
"""

from kit.lethality import cautions
from kit.lethality.findings import (
    Finding,
    cooling_finding,
    cooling_findings,
    hold_finding,
    meets_table,
    p70_findings,
    rows_held,
    single_point_finding,
)
from kit.lethality.model import PValue, equal_hold_min, lethal_minutes, p70, p70_minutes
from kit.lethality.operating import NO_CASING, come_up_findings, humidity_findings
from kit.lethality.plausible import implausible
from kit.lethality.published import (
    CHICKEN,
    MEAT,
    OTHER_POULTRY,
    PRODUCTS,
    TURKEY,
    HoldTable,
    Window,
    celsius,
    cooling_windows,
    editions_ended,
    hold_table,
    hold_tables,
    operating_rules,
    superseded,
    tables_for,
    windows_for,
)
from kit.lethality.record import Mark, Record, record, smokehouse_of_log, traces_of_log
from kit.lethality.trace import Trace, cooling, stretches, trace

__all__ = [
    "CHICKEN",
    "MEAT",
    "NO_CASING",
    "OTHER_POULTRY",
    "PRODUCTS",
    "TURKEY",
    "Finding",
    "HoldTable",
    "Mark",
    "PValue",
    "Record",
    "Trace",
    "Window",
    "cautions",
    "celsius",
    "come_up_findings",
    "cooling",
    "cooling_finding",
    "cooling_findings",
    "cooling_windows",
    "editions_ended",
    "equal_hold_min",
    "hold_finding",
    "hold_table",
    "hold_tables",
    "humidity_findings",
    "implausible",
    "lethal_minutes",
    "meets_table",
    "operating_rules",
    "p70",
    "p70_findings",
    "p70_minutes",
    "record",
    "rows_held",
    "single_point_finding",
    "smokehouse_of_log",
    "stretches",
    "superseded",
    "tables_for",
    "trace",
    "traces_of_log",
    "windows_for",
]
