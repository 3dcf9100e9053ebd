"""What do the batch's own logs say, in the readings of the catalogue of faults: the chopper's bowl, and cores and air of the house?

Nothing is filled in: holes, spikes and impossible readings of a log are not used, and what a log cannot tell stays untold, with the reason in `notes`.
A core above boiling is refused; readings that may not be true stand first in the notes.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.cook.moist_air import humidity_pct
from kit.errors import OutOfRange, need, need_between
from kit.lethality import implausible, traces_of_log
from kit.logs import LogReading
from kit.sheet import Sheet
from kit.working import Step, step

CORE, WET, DRY = (
    re.compile(r"core|product|link", re.I),
    re.compile(r"wet", re.I),
    re.compile(r"dry|house|air|oven|chamber", re.I),
)
RISEN = 0.9
"""share of the core's whole climb over which its rise is taken: the last degrees creep"""
FEW = 3


@dataclass(frozen=True)
class ChopLogged:
    """`knife_min` is None where nobody said when the knives ran."""

    end_C: float
    knife_min: float | None
    how: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class HouseLogged:
    """The coldest core at its warmest, the fastest core's rise, the mean humidity of the drying stage; None where the log cannot tell."""

    core_C: float
    core: str
    heating_K_per_min: float | None
    drying_rh_pct: float | None
    notes: tuple[str, ...]
    working: tuple[Step, ...]


def chop_logged(
    log: LogReading,
    channel: str | None = None,
    from_min: float | None = None,
    to_min: float | None = None,
) -> ChopLogged:
    """The end of chopping: the median of the last three readings before the knives stop; without `to_min` the warmest middle of three readings."""
    channel, others = (
        channel or log.channels[0],
        [name for name in log.channels if name != (channel or log.channels[0])],
    )
    first = (
        (f"The chopper's log holds several columns; {channel!r} counts, not {', '.join(others)}.",)
        if others
        else ()
    )
    seconds, t = log.channel(channel)
    start = (
        0.0
        if from_min is None
        else need_between("the minute the knives start", from_min, 0, log.minutes)
    )
    stop = (
        log.minutes
        if to_min is None
        else need_between("the minute the knives stop", to_min, start, log.minutes)
    )
    t = t[(seconds >= 60 * start - 1e-9) & (seconds <= 60 * stop + 1e-9)]
    need(
        t.size >= FEW,
        f"the chopper's log holds {t.size} usable readings between minute {start:g} and {stop:g}; it takes {FEW} to tell an end; give the minutes when the knives ran",
    )
    if to_min is None:
        middles = np.median(np.lib.stride_tricks.sliding_window_view(t, FEW), axis=1)
        return ChopLogged(
            float(middles.max()),
            None,
            "the chopper's log, at its warmest",
            (
                *first,
                "Nobody said when the knives stopped: the warmest reading of the chopper's log counts as the end, and the log tells no knife time.",
            ),
        )
    return ChopLogged(
        float(np.median(t[-FEW:])),
        stop - start,
        "the chopper's log, when the knives stopped",
        first,
    )


def house_logged(
    log: LogReading, sheet: Sheet | None = None, cores: Sequence[str] = ()
) -> HouseLogged:
    """`cores` names the columns in a core; without it those called so. The sheet's first drying steps say how long the log's drying stage is."""
    names = [*cores] or [name for name in log.channels if CORE.search(name)]
    if not names:
        raise OutOfRange(
            f"no column of the house's log is called a core; say which is: {', '.join(log.channels)}"
        )
    read = {name: log.channel(name) for name in names}
    for name, (_, t) in read.items():
        need(
            t.size >= FEW,
            f"the column {name!r} of the house's log holds {t.size} usable readings; it takes {FEW}",
        )
    peaks = {name: float(t.max()) for name, (_, t) in read.items()}
    core = min(peaks, key=peaks.get)
    held = traces_of_log(log, names)
    notes, working = list(implausible(held, None, sheet.process.stuffed_mm if sheet else None)), []
    if len(names) > 1:
        working.append(
            step(
                "the coldest core at its warmest",
                f"T = min({', '.join(f'T{n}' for n in range(1, len(names) + 1))})",
                peaks[core],
                "°C",
                **{f"T{n}": (peaks[name], "°C", name) for n, name in enumerate(names, 1)},
            )
        )
    rises = {
        name: rise for name, (seconds, t) in read.items() if (rise := _rise(seconds, t)) is not None
    }
    if rises:
        fastest = max(rises, key=lambda name: rises[name][0])
        rate, climb, minutes = rises[fastest]
        working.append(
            step(
                f"rise of the fastest core, {fastest}, over {100 * RISEN:.0f} % of its climb",
                "r = s × c / t",
                rate,
                "K/min",
                s=(RISEN, ""),
                c=(climb, "K", "whole climb"),
                t=(minutes, "min"),
            )
        )
    else:
        notes.append("No core of the house's log climbs, so that it tells no rise.")
    humidity, why = _drying_humidity(log, sheet)
    return HouseLogged(
        peaks[core],
        core,
        max((rise[0] for rise in rises.values()), default=None),
        humidity,
        (*notes, *why),
        tuple(working),
    )


def _rise(seconds, t) -> tuple[float, float, float] | None:
    """K/min, climb in K and minutes from the first reading to RISEN of the climb to the warmest; None where it does not climb."""
    climb = float(t.max() - t[0])
    there = np.flatnonzero(t >= t[0] + RISEN * climb)
    minutes = float(seconds[there[0]] - seconds[0]) / 60
    return (RISEN * climb / minutes, climb, minutes) if climb > 1 and minutes > 0 else None


def _drying_humidity(log: LogReading, sheet: Sheet | None) -> tuple[float | None, tuple[str, ...]]:
    wet, dry = (
        next((name for name in log.channels if found.search(name) and not CORE.search(name)), None)
        for found in (WET, DRY)
    )
    if wet is None or dry is None:
        return None, (
            "The house's log has no wet bulb beside its air, so that it tells no humidity.",
        )
    minutes = 0.0
    for each in sheet.process.cook if sheet else ():
        if each.kind != "dry" or each.duration_min is None:
            break
        minutes += each.duration_min
    if not minutes:
        return None, (
            "The sheet does not say how long the house dries first, so that the log's humidity belongs to no stage.",
        )
    both = (
        log.usable[:, log.channels.index(wet)]
        & log.usable[:, log.channels.index(dry)]
        & (log.time_s <= 60 * minutes)
    )
    bulb, air = (log.temperature_C[both, log.channels.index(name)] for name in (wet, dry))
    if bulb.size < FEW or (bulb > air).any():
        return None, (
            "The wet bulb of the house's log is warmer than its air, or too few readings stand in the drying stage: it tells no humidity.",
        )
    return float(np.mean(humidity_pct(air, bulb))), ()
