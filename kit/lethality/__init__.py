"""What does this temperature record show, against which table?

    reading = read_log("cook.csv")                                     kit.reading.logs
    cores = traces_of_log(reading, ["core 1", "core 2"])
    implausible(cores, diameter_mm=26)                             why these readings cannot be true, if so
    page = record(cores, "meat", cured=True, probe_error_K=0.5)

It validates nothing. A meat table is never used for poultry; nothing is counted below 130 °F.
"""

from kit.lethality.record import Record, record
from kit.lethality.trace import Trace, trace

__all__ = ["Record", "Trace", "record", "trace"]
