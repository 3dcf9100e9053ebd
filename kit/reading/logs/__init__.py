"""What does this temperature log say? Reads the usual layouts of loggers, for the chopper and for the cook alike."""

from kit.logs import KINDS, Issue, LogReading
from kit.reading.logs.clock import TIME_WRITTEN
from kit.reading.logs.reader import UNITS, read_log

__all__ = ["KINDS", "TIME_WRITTEN", "UNITS", "Issue", "LogReading", "read_log"]
