"""A log as read: seconds, temperatures, what was understood, and every row with something wrong."""

import re
from dataclasses import dataclass

import numpy as np

from kit.errors import Fault, OutOfRange, need_known
from kit.tables import read_rows

KINDS = {row["kind"]: row["says"] for row in read_rows("words", "log_issues.csv")}
"""kind of issue -> what it is, and what becomes of the row"""
_FAULTLESS = ("day rollover",)
_LISTED = 5
_CORE = re.compile(r"core|kern|link|sausage|wurst|product|meat", re.I)


@dataclass(frozen=True)
class Issue:
    """All rows of one kind in one channel. `rows` are the file's row numbers, header counted."""

    kind: str
    rows: np.ndarray
    channel: str = ""
    what: str = ""

    @property
    def says(self) -> str:
        rows = ", ".join(str(row) for row in self.rows[:_LISTED]) + (
            f" and {len(self.rows) - _LISTED} more" if len(self.rows) > _LISTED else ""
        )
        count = "1 row" if len(self.rows) == 1 else f"{len(self.rows)} rows"
        return f"{self.kind} in {count} (row {rows}): {self.what or KINDS[self.kind]}"


@dataclass(frozen=True, eq=False)
class LogReading:
    """`time_s` rises strictly from 0; `temperature_C` has one column per channel, nan for holes and where a channel that keeps
    times of its own is not read; `usable` is False there, and for impossible readings and spikes. `row` is each reading's row in the file. Nothing is filled in or smoothed.
    """

    time_s: np.ndarray
    temperature_C: np.ndarray
    usable: np.ndarray
    row: np.ndarray
    channels: tuple[str, ...]
    first_stamp: str
    understood: tuple[str, ...]
    issues: tuple[Issue, ...]
    file: str = ""

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The issues as faults, one for each kind and channel."""
        return tuple(
            Fault(issue.says, column=issue.channel, row=int(issue.rows[0]), file=self.file)
            for issue in self.issues
            if issue.kind not in _FAULTLESS
        )

    @property
    def cores(self) -> tuple[str, ...]:
        """The channels that their name calls a core."""
        return tuple(name for name in self.channels if _CORE.search(name))

    @property
    def minutes(self) -> float:
        return float(self.time_s[-1]) / 60

    def channel(self, name: str | None = None) -> tuple[np.ndarray, np.ndarray]:
        """(seconds, °C) of the usable readings of one channel; the name may be left out when there is one."""
        if name is None:
            if len(self.channels) != 1:
                raise OutOfRange(
                    f"the log has {len(self.channels)} channels; say which: {', '.join(self.channels)}"
                )
            name = self.channels[0]
        need_known("channel", name, self.channels)
        i = self.channels.index(name)
        good = self.usable[:, i]
        return self.time_s[good], self.temperature_C[good, i]
