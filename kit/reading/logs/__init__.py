"""What does this temperature log say? Reads the usual layouts of loggers, for the chopper and for the cook alike."""

from kit.logs import KINDS
from kit.reading.logs.reader import read_log

__all__ = ["KINDS", "read_log"]
