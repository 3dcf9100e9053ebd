"""What do a smokehouse whose air is known only roughly, and one probe in one link, leave open?"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import isfinite

from kit.chain.casing import links_of
from kit.cook import Stage, cook, one_probe
from kit.cook.cooked import Cooked
from kit.cook.moist_air import saturation_pressure_Pa, vapour_pressure_Pa, wet_bulb_C
from kit.cook.one_probe import OneProbe
from kit.errors import attempt
from kit.sheet import CookStep, Sheet
from kit.working import notes_of

LINKS, POOL, BATCHES = 100, 300, 500


@dataclass(frozen=True)
class AirRange:
    """Come-up time and evaporation with the air at both ends of every range; None: not reached."""

    target_C: float
    soonest_min: float | None
    latest_min: float | None
    evaporated_low_pct: float
    evaporated_high_pct: float

    @property
    def times(self) -> tuple[str, str]:
        """Come-up time in the hottest and in the coolest air, from the start of the first step."""
        soonest, latest = (
            "not reached" if t is None else f"{t:.0f} min"
            for t in (self.soonest_min, self.latest_min)
        )
        return soonest, latest

    @property
    def words(self) -> str:
        soonest, latest = self.times
        return (
            f"air known only roughly: core at {self.target_C:g} °C {soonest} in the hottest air, {latest} in the coolest; "
            f"{self.evaporated_low_pct:.1f} to {self.evaporated_high_pct:.1f} % evaporates; the probe decides, not the clock"
        )


def air_range(
    sheet: Sheet,
    middle: Cooked,
    schedule_of: Callable[[Sheet], tuple[Stage, ...]],
    released_pct: float,
) -> AirRange | None:
    """The cook run again with every rough air at both ends, holding the vapour of the middle."""
    target_C = middle.targets[0].target_C
    if all(one.air_low_C is None for one in sheet.process.house):
        return None

    def run(end: str) -> Cooked:
        steps = tuple(at_air(one, getattr(one, end)) for one in sheet.process.house)
        moved = replace(sheet, process=replace(sheet.process, cook=steps))
        return cook(middle.link, schedule_of(moved), (target_C,), released_pct=released_pct)

    cool, hot = run("air_low_C"), run("air_high_C")
    low, high = sorted((cool.lost_pct, hot.lost_pct))
    return AirRange(target_C, hot.targets[0].minutes, cool.targets[0].minutes, low, high)


def at_air(planned: CookStep, air_C: float | None) -> CookStep:
    """The step in air of another temperature and the same vapour, at most saturated."""
    wet, humidity = planned.wet_bulb_C, planned.rh_pct
    if air_C is None or (wet is None and humidity is None):
        return planned
    vapour = vapour_pressure_Pa(planned.dry_bulb_C, humidity_pct=humidity, wet_bulb_C=wet)
    vapour = min(vapour, saturation_pressure_Pa(air_C))
    wet = min(float(wet_bulb_C(air_C, vapour)), air_C)
    return replace(planned, dry_bulb_C=air_C, wet_bulb_C=wet, rh_pct=None)


def probe_range(sheet: Sheet, middle: Cooked, schedule: Sequence[Stage]) -> OneProbe | None:
    """What one probe leaves open of all links of the sheet; None where it does not count its probes. Of 100 links where they cannot be counted."""
    plan = sheet.process
    if not plan.core_probes:
        return None
    found, _ = attempt(lambda: links_of(sheet))
    count = found.links if found else LINKS
    return one_probe(
        middle.link,
        schedule,
        middle.targets[0].target_C,
        links=count,
        display_sd_K=plan.probe_error_K,
        pool=min(max(POOL, 4 * count), 1000),
        batches=BATCHES,
    )


def probe_words(probe: OneProbe) -> str:
    """The interval of the coldest link at the moment when the probe first shows the target."""
    low, _, high = probe.coldest_at_target_C
    shown, waits = isfinite(low), probe.display_C is not None
    holds = {"never shown": not shown, "shown": shown, "no reading": not waits, "wait": waits}
    return "; ".join(notes_of("probe of a sheet", holds, probe=probe, low=low, high=high))
