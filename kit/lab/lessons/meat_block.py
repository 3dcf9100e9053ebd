"""Lesson 01: what is the mix made of, how sure are we, and which mix is cheapest?"""

from kit.chain import follow
from kit.chain.mixes import mix_sheet
from kit.lab.lessons import Choosing, Exercise, Guess
from kit.materials import by_lab, material
from kit.materials.given import by_eye
from kit.meat_block import compose, uncertainty
from kit.meat_block.target import square
from kit.rules import rule_set
from kit.rules.facts import added_water_pct
from kit.rules.room import room_left
from kit.tables import cite
from kit.working import step

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
    return Guess(
        f"30 kg of lean beef (10 % fat) and 70 kg of pork trim with about 40 % fat by eye, with {ICE_PCT} kg of ice, milk powder, salt and spice. At 90 % cook yield, what is the fat content of the frankfurter, in percent?",
        "% fat",
        lambda: _start_mix().finished.fat_pct,
        1.5,
    )


def exercises() -> tuple[Exercise, ...]:
    lean, fatty = material("beef ground 90/10"), material("pork trim 50")
    trim = by_eye("pork trim, by eye", "pork", 18, 28)

    def meet_target():
        found = square(lean, fatty, 28, 100)
        return found.lean_kg, found.working

    def water_added():
        answer = added_water_pct(56, 12.5, 1.8)
        return answer, (
            step(
                "Added water",
                "AW = TW − 4 × (TP − max(P − 1, 0))",
                answer,
                "%",
                TW=(56, "%", "all water"),
                TP=(12.5, "%", "all protein"),
                P=(1.8, "%", "protein of the milk powder"),
            ),
        )

    def ice_room():
        left = room_left(compose((by_lab("meat", "", 51.2, 14, 34),), (100,)), rule_set(RULE))
        return left.most_kg, left.working

    def spread():
        found = uncertainty((lean, trim), (30, 70))
        return found.sd_pct, found.working

    return (
        Exercise(
            "Beef at 10 % fat and pork trim at 50 % fat: how many kg of the beef make 100 kg of meat at 28 % fat?",
            "kg",
            meet_target,
            0.3,
            (
                "Use the Pearson square: the parts of each meat are the distance of the other from the target.",
                "50 − 28 parts of beef against 28 − 10 parts of trim.",
            ),
            (
                (
                    "that is the trim. The parts are crossed: the beef gets the distance of the trim from the target.",
                    lambda: square(lean, fatty, 28, 100).fatty_kg,
                ),
            ),
        ),
        Exercise(
            "A frankfurter has 56 % water and 12.5 % protein, of which 1.8 % of the product comes from milk powder. How much of its water counts as added water under the 2015 rule, in percent?",
            "%",
            water_added,
            0.06,
            (
                "Only meat protein accounts for water: four parts each. Of other protein, 1 % is allowed.",
                "Take 0.8 off the 12.5, times 4, and subtract from 56.",
            ),
            (
                (
                    "you counted the protein of the milk powder like meat protein. Only 1 % of it is allowed.",
                    lambda: added_water_pct(56, 12.5, 0.0),
                ),
            ),
        ),
        Exercise(
            "100 kg of meat contains 51.2 % water, 14 % protein and 34 % fat. There is no cook loss. How many kg of ice may be added before fat and added water reach 40 %?",
            "kg",
            ice_room,
            0.06,
            (
                "Write fat + added water in kg over the total weight, with x kg of ice in both.",
                "(34 + 51.2 + x − 4 × 14) = 0.40 × (100 + x).",
            ),
            (
                (
                    "that forgets that the ice also makes the whole batch heavier.",
                    lambda: 40 - (34 + 51.2 - 56),
                ),
            ),
        ),
        Exercise(
            "30 kg of beef of known fat and 70 kg of trim whose fat has a 90 % interval of 18 to 28 %. What is the standard deviation of the fat of the meat block, in percentage points?",
            "percentage points",
            spread,
            0.06,
            (
                "A 90 % interval is ± 1.645 standard deviations. First convert 18 to 28 % to one standard deviation.",
                "5 / 1.645 percentage points for the trim, and the trim is 70 of 100 kg.",
            ),
            (("that is the trim alone. Only 70 of the 100 kg are trim.", lambda: trim.fat_sd_pct),),
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
