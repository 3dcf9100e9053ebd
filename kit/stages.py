"""The stages of the trade, from the goods-in door to the pack, in order. Any may be missing from a record."""

STAGES = {
    "receive": "meat weighed at the door",
    "thaw": "frozen meat brought up, drip lost",
    "trim": "glands, bone, gristle and surplus fat cut away",
    "grind": "through the plate",
    "chop": "salt, ice and dry goods worked in; the batter leaves the bowl",
    "stuff": "batter into casing, linked",
    "rest": "hung or held cold while cure and bind work",
    "cook": "smoked and cooked",
    "chill": "showered and chilled",
    "peel": "casing off",
    "pack": "weighed into packs",
    "grill": "finished on a grill to serve",
}
