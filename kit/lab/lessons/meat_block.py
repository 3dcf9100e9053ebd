"""Lesson 01: what is the mix made of, how sure are we, and which mix is cheapest?"""

from kit.chain import follow
from kit.chain.mixes import mix_sheet
from kit.lab.lessons import Choosing, Exercise, Guess, exercise, guess_of
from kit.materials import by_lab, material
from kit.materials.given import by_eye
from kit.meat_block import compose, uncertainty
from kit.meat_block.target import square
from kit.rules import rule_set
from kit.rules.facts import added_water_pct
from kit.rules.room import room_left
from kit.tables import cite

RULE = "us_frankfurter"
ICE_PCT = 31
"""ice, % of the meat block: that of the invented demo batch, rounded to the step of the sliders"""


def _start_mix():
    """The mix that the panels start with: 30 % beef 90/10, pork trim judged at 40 ± 8 % fat, ice as in the demo batch."""
    return follow(
        mix_sheet("beef ground 90/10", "pork", 30, 40, 8, ICE_PCT, "nonfat dry milk", 3, 2, RULE),
        90,
    )


def guess() -> Guess:
    return guess_of("01 guess", {"ice_pct": ICE_PCT}, lambda: _start_mix().finished.fat_pct)


def exercises() -> tuple[Exercise, ...]:
    lean, fatty = material("beef ground 90/10"), material("pork trim 50")
    trim = by_eye("pork trim, by eye", "pork", 18, 28)
    crossed = square(lean, fatty, 28, 100)
    added = {"AW": added_water_pct(56, 12.5, 1.8), "TW": 56, "TP": 12.5, "P": 1.8}
    dry = compose((by_lab("meat", "", 51.2, 14, 34),), (100,))
    return (
        exercise(
            "01 square",
            {},
            lambda: crossed.fatty_kg,
            working=lambda: crossed.working,
            answer=lambda: crossed.lean_kg,
        ),
        exercise("01 added water", added, lambda: added_water_pct(56, 12.5, 0.0)),
        exercise(
            "01 room for ice",
            {},
            lambda: 40 - (34 + 51.2 - 56),
            working=lambda: room_left(dry, rule_set(RULE)).working,
        ),
        exercise(
            "01 fat of the block",
            {},
            lambda: trim.fat_sd_pct,
            working=lambda: uncertainty((lean, trim), (30, 70)).working,
        ),
    )


def choices() -> tuple[Choosing, ...]:
    """Which correction makes room for fat and added water."""
    changes = {
        "5 % less ice, of the meat": {"ice": ICE_PCT - 5},
        "1 % more milk powder": {"milk": 4},
        "1 % more salt": {"salt": 3},
    }

    def over(ice: float = ICE_PCT, milk: float = 3, salt: float = 2) -> float:
        mix = mix_sheet(
            "beef ground 90/10", "pork", 30, 40, 8, ice, "nonfat dry milk", milk, salt, RULE
        )
        return next(
            v.value
            for v in follow(mix, 90).verdicts
            if v.limit.quantity == "fat_and_added_water_pct_of_finished"
        )

    def judge(option: str) -> tuple[bool, str, str]:
        found = {name: over(**change) for name, change in changes.items()}
        words = f"fat and added water change from {over():.1f} to {found[option]:.1f} % of the finished product."
        return found[option] == min(found.values()), words, cite("kit", "", "computed")

    question = "The batch of the first panel must come down in fat and added water. Which single change lowers their sum most?"
    return (Choosing(question, tuple(changes), judge),)
