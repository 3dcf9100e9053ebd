"""What does this temperature record show, against which table?

    reading = read_log("cook.csv")                                     kit.reading.logs
    cores = traces_of_log(reading, ["core 1", "core 2"])
    implausible(cores, diameter_mm=26)                             why these readings cannot be true, if so
    page = record(cores, "meat", cured=True, probe_error_K=0.5)
    print(page.text()); save_record(page, "batch_12.html")
    p70_minutes(time_s, cloud_C), meets_table(time_s, cloud_C, hold_table("meat 7 log"), "meat")      arrays (m, n)

It validates nothing. A meat table never speaks for poultry; nothing is counted below 130 °F.
"""

from kit.lethality import cautions
from kit.lethality.findings import (
    Finding,
    RowHeld,
    cooling_finding,
    cooling_findings,
    hold_finding,
    meets_table,
    p70_findings,
    rows_held,
    single_point_finding,
)
from kit.lethality.model import (
    Line,
    PValue,
    Reduction,
    equal_hold_min,
    lethal_minutes,
    line_of,
    line_of_d,
    p70,
    p70_minutes,
    reduction,
    reduction_by_d,
    times_slower,
)
from kit.lethality.operating import (
    NO_CASING,
    come_up_findings,
    humidity_findings,
    lethal_s,
    needs_humidity,
)
from kit.lethality.page import save_record, thinned
from kit.lethality.plausible import fastest_per_s, implausible
from kit.lethality.published import (
    CHICKEN,
    HISTORY,
    MEAT,
    OTHER_POULTRY,
    PRODUCTS,
    TURKEY,
    Hold,
    HoldTable,
    Resistance,
    Window,
    cooling_windows,
    editions_ended,
    hold_table,
    hold_tables,
    operating_rules,
    resistance,
    resistances,
    superseded,
    tables_for,
    windows_for,
)
from kit.lethality.record import Mark, Record, StageLine, record, smokehouse_of_log, traces_of_log
from kit.lethality.trace import Stretches, Trace, cooling_s, longest_s, stretches, trace, traces

__all__ = [name for name in dir() if not name.startswith("_")]
