"""What do the batch's own logs say of its possible faults: the bowl and the cores in the smokehouse?

Nothing is filled in: gaps, spikes and impossible readings of a log are not used, and what a log
cannot tell stays untold, with the reason in `notes`. A core above boiling is refused; readings that
may not be true stand first in the notes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import need_between
from kit.faults import need_said
from kit.lethality.plausible import implausible
from kit.lethality.record import traces_of_log
from kit.logs import LogReading
from kit.sheet import Sheet
from kit.working import Result, notes_of, working_of

_RISEN = 0.9
"""share of the core's whole climb over which its rise is taken: the last degrees creep"""
_FEW = 3


@dataclass(frozen=True)
class ChopLogged(Result):
    """`knife_min` is None where nobody said when the knives ran."""

    end_C: float
    knife_min: float | None
    how: str


@dataclass(frozen=True)
class HouseLogged(Result):
    """The coldest core at its warmest, and the fastest core's rise.

    None where the log cannot tell.
    """

    core_C: float
    core: str
    heating_K_per_min: float | None

    @property
    def how(self) -> str:
        return f"the smokehouse log, {self.core.split(' (')[0]} at its warmest"


def chop_logged(
    log: LogReading, from_min: float | None = None, to_min: float | None = None
) -> ChopLogged:
    """The final chopping temperature, by the first column of the chopper's log.

    from_min, to_min: minutes of the log between which the knives ran.

    The median of the last three readings before the knives stop; without `to_min` the warmest middle
    of three readings. Raises OutOfRange.
    """
    channel, *others = log.channels
    seconds, t = log.channel(channel)
    start, stop = 0.0, log.minutes
    if from_min is not None:
        start = need_between("the minute the knives start", from_min, 0, log.minutes)
    if to_min is not None:
        stop = need_between("the minute the knives stop", to_min, start, log.minutes)
    t = t[(seconds >= 60 * start - 1e-9) & (seconds <= 60 * stop + 1e-9)]
    need_said(
        t.size >= _FEW, "too few readings of an end", count=t.size, start=start, stop=stop, few=_FEW
    )
    middles = np.median(np.lib.stride_tricks.sliding_window_view(t, _FEW), axis=1)
    holds = {"columns": others, "no stop": to_min is None}
    notes = notes_of("chopper's log", holds, channel=channel, others=", ".join(others))
    if to_min is None:
        how = "the chopper's log, at its warmest"
        return ChopLogged(float(middles.max()), None, how, own_notes=notes)
    how = "the chopper's log, when the knives stopped"
    return ChopLogged(float(middles[-1]), stop - start, how, own_notes=notes)


def house_logged(
    log: LogReading, sheet: Sheet | None = None, cores: Sequence[str] = ()
) -> HouseLogged:
    """The coldest core and the fastest rise, by the smokehouse's log.

    sheet: its stuffed diameter tells what a core can do.
    cores: names of the columns in a core; without it those called so.

    Raises UnknownName or OutOfRange.
    """
    names = tuple(cores) or log.cores
    need_said(bool(names), "no core named", channels=", ".join(log.channels))
    read = {name: log.channel(name) for name in names}
    for name, (_, t) in read.items():
        need_said(t.size >= _FEW, "too few readings", name=name, count=t.size, few=_FEW)
    peaks = {name: float(t.max()) for name, (_, t) in read.items()}
    core = min(peaks, key=lambda name: peaks[name])
    diameter_mm = sheet.process.stuffed_mm if sheet else None
    notes = implausible(traces_of_log(log, names), None, diameter_mm)
    rises = {name: _rise(seconds, t) for name, (seconds, t) in read.items()}
    fastest = max(rises, key=lambda name: rises[name][0])
    rate, climb, minutes = rises[fastest]
    notes += notes_of("log of a smokehouse", {"no climb": not rate})
    known = {"s": _RISEN, "pct": 100 * _RISEN, "c": climb, "t": minutes}
    steps = working_of("rise of a core", core=fastest, r=rate or None, **known)
    return HouseLogged(peaks[core], core, rate or None, own_notes=notes, own_working=steps)


def _rise(seconds: np.ndarray, t: np.ndarray) -> tuple[float, float, float]:
    """K/min, whole climb in K, and minutes to _RISEN of it; 0 K/min where it does not climb."""
    climb = float(t.max() - t[0])
    there = np.flatnonzero(t >= t[0] + _RISEN * climb)
    minutes = float(seconds[there[0]] - seconds[0]) / 60
    return (_RISEN * climb / minutes if climb > 1 and minutes > 0 else 0.0), climb, minutes
