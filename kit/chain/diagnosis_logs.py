"""What do the batch's own logs say of its possible faults: the bowl, cores and air of the smokehouse?

Nothing is filled in: gaps, spikes and impossible readings of a log are not used, and what a log
cannot tell stays untold, with the reason in `notes`. A core above boiling is refused; readings that
may not be true stand first in the notes.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile

import numpy as np

from kit.cook.moist_air import humidity_pct
from kit.errors import OutOfRange, need, need_between
from kit.lethality.plausible import implausible
from kit.lethality.record import traces_of_log
from kit.logs import LogReading
from kit.sheet import Sheet
from kit.working import Result, step

_CORE = re.compile(r"core|product|link", re.I)
_WET = re.compile(r"wet", re.I)
_DRY = re.compile(r"dry|house|air|oven|chamber", re.I)
_RISEN = 0.9
"""share of the core's whole climb over which its rise is taken: the last degrees creep"""
_FEW = 3
NO_HUMIDITY = (
    "The house's log tells no humidity of drying: that takes columns of the air and of a wet bulb no warmer than it, with three readings or more in "
    "the minutes that the sheet's first cook steps dry."
)


@dataclass(frozen=True)
class ChopLogged(Result):
    """`knife_min` is None where nobody said when the knives ran."""

    end_C: float
    knife_min: float | None
    how: str


@dataclass(frozen=True)
class HouseLogged(Result):
    """The coldest core at its warmest, the fastest core's rise, the humidity of the drying stage.

    None where the log cannot tell.
    """

    core_C: float
    core: str
    heating_K_per_min: float | None
    drying_rh_pct: float | None

    @property
    def how(self) -> str:
        return f"the house's log, {self.core.split(' (')[0]} at its warmest"


def chop_logged(
    log: LogReading, from_min: float | None = None, to_min: float | None = None
) -> ChopLogged:
    """The end of chopping, by the first column of the chopper's log.

    from_min, to_min: minutes of the log between which the knives ran.

    The median of the last three readings before the knives stop; without `to_min` the warmest middle
    of three readings. Raises OutOfRange.
    """
    channel, *others = log.channels
    notes = []
    if others:
        notes.append(
            f"The chopper's log holds several columns; {channel!r} counts, not {', '.join(others)}."
        )
    seconds, t = log.channel(channel)
    start, stop = 0.0, log.minutes
    if from_min is not None:
        start = need_between("the minute the knives start", from_min, 0, log.minutes)
    if to_min is not None:
        stop = need_between("the minute the knives stop", to_min, start, log.minutes)
    t = t[(seconds >= 60 * start - 1e-9) & (seconds <= 60 * stop + 1e-9)]
    need(
        t.size >= _FEW,
        f"the chopper's log holds {t.size} usable readings between minute {start:g} and {stop:g}; it takes {_FEW} to tell an end; give the minutes when the knives ran",
    )
    middles = np.median(np.lib.stride_tricks.sliding_window_view(t, _FEW), axis=1)
    if to_min is None:
        notes.append(
            "Nobody said when the knives stopped: the warmest reading of the chopper's log counts as the end, and the log tells no knife time."
        )
        how = "the chopper's log, at its warmest"
        return ChopLogged(float(middles.max()), None, how, own_notes=tuple(notes))
    how = "the chopper's log, when the knives stopped"
    return ChopLogged(float(middles[-1]), stop - start, how, own_notes=tuple(notes))


def house_logged(
    log: LogReading, sheet: Sheet | None = None, cores: Sequence[str] = ()
) -> HouseLogged:
    """The coldest core, the fastest rise and the drying humidity, by the smokehouse's log.

    sheet: its first drying steps say how long the log's drying stage is.
    cores: names of the columns in a core; without it those called so.

    Raises UnknownName or OutOfRange.
    """
    names = [*cores] or [name for name in log.channels if _CORE.search(name)]
    if not names:
        raise OutOfRange(
            f"no column of the house's log is called a core; say which is: {', '.join(log.channels)}"
        )
    read = {name: log.channel(name) for name in names}
    for name, (_, t) in read.items():
        need(
            t.size >= _FEW,
            f"the column {name!r} of the house's log holds {t.size} usable readings; it takes {_FEW}",
        )
    peaks = {name: float(t.max()) for name, (_, t) in read.items()}
    core = min(peaks, key=lambda name: peaks[name])
    diameter_mm = sheet.process.stuffed_mm if sheet else None
    notes, working = list(implausible(traces_of_log(log, names), None, diameter_mm)), []
    rises = {name: _rise(seconds, t) for name, (seconds, t) in read.items()}
    fastest = max(rises, key=lambda name: rises[name][0])
    rate, climb, minutes = rises[fastest]
    if rate:
        working.append(
            step(
                f"rise of the fastest core, {fastest}, over {100 * _RISEN:.0f} % of its climb",
                "r = s × c / t",
                rate,
                "K/min",
                s=(_RISEN, ""),
                c=(climb, "K", "whole climb"),
                t=(minutes, "min"),
            )
        )
    else:
        notes.append("No core of the house's log climbs, so that it tells no rise.")
    humidity = _drying_humidity(log, sheet)
    if humidity is None:
        notes.append(NO_HUMIDITY)
    return HouseLogged(
        peaks[core],
        core,
        rate or None,
        humidity,
        own_notes=tuple(notes),
        own_working=tuple(working),
    )


def _rise(seconds: np.ndarray, t: np.ndarray) -> tuple[float, float, float]:
    """K/min, whole climb in K, and minutes to _RISEN of it; 0 K/min where it does not climb."""
    climb = float(t.max() - t[0])
    there = np.flatnonzero(t >= t[0] + _RISEN * climb)
    minutes = float(seconds[there[0]] - seconds[0]) / 60
    return (_RISEN * climb / minutes if climb > 1 and minutes > 0 else 0.0), climb, minutes


def _drying_humidity(log: LogReading, sheet: Sheet | None) -> float | None:
    """Mean relative humidity of the drying stage; None where log and sheet cannot tell."""
    air_names = [name for name in log.channels if not _CORE.search(name)]
    wet = next((name for name in air_names if _WET.search(name)), None)
    dry = next((name for name in air_names if _DRY.search(name)), None)
    steps = takewhile(lambda each: each.kind == "dry", sheet.process.cook if sheet else ())
    minutes = sum(each.duration_min for each in steps)
    if wet is None or dry is None or not minutes:
        return None
    at_wet, at_dry = log.channels.index(wet), log.channels.index(dry)
    both = log.usable[:, at_wet] & log.usable[:, at_dry] & (log.time_s <= 60 * minutes)
    bulb, air = log.temperature_C[both, at_wet], log.temperature_C[both, at_dry]
    if bulb.size < _FEW or (bulb > air).any():
        return None
    return float(np.mean(humidity_pct(air, bulb)))
