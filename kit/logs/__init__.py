"""What does this temperature log say? Reads the usual layouts of loggers, for the chopper and for the cook alike."""
from kit.logs.clock import TIME_WRITTEN
from kit.logs.reader import UNITS, read_log
from kit.logs.reading import KINDS, Issue, LogReading

__all__ = ["KINDS", "TIME_WRITTEN", "UNITS", "Issue", "LogReading", "read_log"]
