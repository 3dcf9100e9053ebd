"""What does this temperature record show, against which table?

    reading = read_log("cook.csv")                                     kit.reading.logs
    cores = traces_of_log(reading, ["core 1", "core 2"])
    implausible(cores, diameter_mm=26)                             why these readings cannot be true, if so
    page = record(cores, "meat", cured=True, probe_error_K=0.5)
    p70_minutes(time_s, cloud_C), meets_table(time_s, cloud_C, hold_table("meat 7 log"), "meat")      arrays (m, n)

It validates nothing. A meat table never speaks for poultry; nothing is counted below 130 °F.
"""

from kit.lethality import cautions
from kit.lethality.findings import meets_table
from kit.lethality.model import equal_hold_min, p70, p70_minutes
from kit.lethality.plausible import implausible
from kit.lethality.published import CHICKEN, MEAT, OTHER_POULTRY, TURKEY, hold_table
from kit.lethality.record import Mark, Record, record, smokehouse_of_log, traces_of_log
from kit.lethality.trace import Trace, trace

__all__ = [
    "CHICKEN",
    "MEAT",
    "Mark",
    "OTHER_POULTRY",
    "Record",
    "TURKEY",
    "Trace",
    "cautions",
    "equal_hold_min",
    "hold_table",
    "implausible",
    "meets_table",
    "p70",
    "p70_minutes",
    "record",
    "smokehouse_of_log",
    "trace",
    "traces_of_log",
]
