"""Can these readings be true? Each reason against it is one sentence that stands first on the record; while there is one, nothing counts as met.

Conduction sets the limit of a change: with the whole surface at the medium's temperature from the start, the difference between the core of a
long cylinder and the medium never falls by a faster rate than z1² a / R² (z1 the first zero of J0), the limit of the exact series.
Readings that no wet core can show are refused earlier, in `trace`.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import scipy as sp

from kit.cook.link import Link
from kit.errors import need_between
from kit.lethality.published import celsius
from kit.lethality.trace import Trace
from kit.tables import number, value
from kit.working import notes_of

_STUCK_AT_MOST = 3


def implausible(
    channels: Sequence[Trace], smokehouse: Trace | None = None, diameter_mm: float | None = None
) -> tuple[str, ...]:
    """What cannot be true of core channels, or hardly. `smokehouse`: the chamber's own trace; `diameter_mm`: stuffed, the thinnest known where it is not given."""
    said: list[str] = []
    for held in channels:
        said += (*_unit(held), *_unmoved(held))
        said += _too_fast(held, smokehouse, diameter_mm) or _jumps(held)
    return tuple(said)


def fastest_per_s(diameter_mm: float | None = None) -> float:
    """The fastest that the difference between a core and its medium can fall, in shares per second: the batter that conducts best, ends included."""
    size = number("cook_diameter").low
    if diameter_mm is not None:
        size = need_between("stuffed diameter in mm", diameter_mm, 3, 400)
    conducts, light = number("cook_conductivity").high, number("cook_density").low
    link = Link(size, conducts, light, number("cook_heat_capacity").low)
    ends = (np.pi / (2 * value("record_shortest_link"))) ** 2
    return float(
        link.diffusivity_m2_per_s / link.radius_m**2 * (sp.special.jn_zeros(0, 1)[0] ** 2 + ends)
    )


def _unit(held: Trace) -> tuple[str, ...]:
    hot, mild, peak = value("record_hot_core_C"), value("record_mild_core_C"), held.peak_C
    as_F, as_C = (peak - 32) / 1.8, 1.8 * peak + 32
    cooks = celsius(value("lethality_floor_F")) <= as_C <= value("lethality_warmest_C")
    holds = {"hot": peak > hot, "mild": peak < mild and cooks}
    return notes_of("log in another unit", holds, held=held, hot=hot, as_F=as_F, as_C=as_C)


def _unmoved(held: Trace) -> tuple[str, ...]:
    """The longest runs of one and the same reading in a heated core, where they stand apart from the runs that a core at rest makes in this channel."""
    t, x = held.time_s, held.temperature_C
    edges = np.flatnonzero(np.concatenate([[True], np.diff(x) != 0, [True]]))
    first, last = edges[:-1], edges[1:] - 1
    warm = np.flatnonzero(x[first] >= value("record_heated_C"))
    runs = warm[np.argsort(first[warm] - last[warm], kind="stable")]
    steps, coarse = np.diff(np.unique(x)), 1.0
    if steps.size:
        coarse = max(float(steps.min()) / value("record_fine_K"), 1.0)
    counts, minutes = last[runs] - first[runs] + 1, (t[last[runs]] - t[first[runs]]) / 60
    long = counts >= value("record_unmoved_readings")
    long &= minutes >= coarse * value("record_unmoved_min")
    apart = counts >= value("record_unmoved_apart") * np.append(counts[1:], 1)
    longest = slice(_STUCK_AT_MOST)
    last_apart = np.flatnonzero(apart[longest] & np.logical_and.accumulate(long)[longest])
    if not last_apart.size:
        return ()
    stuck = np.sort(runs[: last_apart[-1] + 1])
    times = ", ".join(
        f"{x[first[n]]:.1f} °C for {(t[last[n]] - t[first[n]]) / 60:.0f} min from minute {t[first[n]] / 60:.0f}"
        for n in stuck
    )
    return notes_of("core that does not move", {}, held=held, times=times)


def _too_fast(held: Trace, smokehouse: Trace | None, diameter_mm: float | None) -> list[str]:
    rate, off = fastest_per_s(diameter_mm), value("record_change_K")
    warmest, coldest = value("lethality_warmest_C"), value("record_coldest_medium_C")
    if smokehouse is not None:
        warmest = min(warmest, smokehouse.peak_C + value("record_chamber_spread_K"))
    size = f"even {number('cook_diameter').low:g} mm"
    if diameter_mm is not None:
        size = f"{diameter_mm:g} mm"
    said: list[str] = []
    rises, falls = (1.0, warmest, "rises", "reaches"), (-1.0, coldest, "falls", "cools to")
    for way, medium, verb, reaches in (rises, falls):
        found = _fastest(held.time_s, way * (medium - held.temperature_C), rate, off)
        if found is not None:
            a, b, least = found
            limit = {"reaches": reaches, "limit_C": medium - way * least, "medium": medium}
            change = _change(held, a, b) | {"verb": verb, "size": size}
            said += notes_of("core too fast", {}, **change, **limit)
    return said


def _jumps(held: Trace) -> tuple[str, ...]:
    """A change within a minute between two quiet stretches: in a core, however thin, a change that has begun dies away by exp(−rate t) at most."""
    t, x = held.time_s, held.temperature_C
    for width in (1, 2):
        if len(x) < width + 5:
            continue
        change, taken = x[2 + width : -2] - x[2 : -2 - width], t[2 + width : -2] - t[2 : -2 - width]
        beside = [np.diff(x)[k : k + change.size] for k in (0, 1, 2 + width, 3 + width)]
        quiet = np.max(np.abs(beside), axis=0) < np.exp(-60 * fastest_per_s()) * np.abs(change)
        at = np.flatnonzero((np.abs(change) > value("record_jump_K")) & quiet & (taken <= 60))
        if at.size:
            change = _change(held, at[0] + 2, at[0] + 2 + width)
            return notes_of("core that jumps", {}, **change)
    return ()


def _fastest(t, apart, rate: float, off: float) -> tuple[int, int, float] | None:
    """(from, to, least difference possible at the end) of the change that breaks the limit by most: `apart`, core from medium, may fall by exp(−rate t) at most."""
    grown = np.log(np.maximum(apart, 1e-9)) + rate * (t - t[0])
    highest = np.maximum.accumulate(grown)
    least = np.exp(highest - rate * (t - t[0]))
    over = least - apart - off
    b = int(np.argmax(over > 0)) if (over > 0).any() else -1
    if b < 0:
        return None
    end = b + int(np.argmax(over[b : b + 3]))
    return int(np.argmax(grown[: end + 1] >= highest[end] - 1e-12)), end, float(least[end])


def _change(held: Trace, a: int, b: int) -> dict[str, Any]:
    """A change between two readings, for a note."""
    seconds, (from_C, to_C) = held.time_s[b] - held.time_s[a], held.temperature_C[[a, b]]
    span = f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
    known = {"held": held, "from_C": from_C, "to_C": to_C}
    return known | {"span": span, "at_min": held.time_s[b] / 60}
