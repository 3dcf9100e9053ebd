"""The words to choose from in fields of a sheet."""

COMPOUNDS = (
    "sodium erythorbate",
    "sodium ascorbate",
    "erythorbic acid",
    "ascorbic acid",
    "citric acid",
    "sodium citrate",
    "glucono delta-lactone",
    "sodium tripolyphosphate",
    "sodium acid pyrophosphate",
    "tetrasodium pyrophosphate",
    "sodium hexametaphosphate",
    "phosphate blend",
)
CUTTERS = (
    "bowl cutter",
    "vacuum bowl cutter",
    "emulsion mill",
    "grinder and mixer",
    "kneader",
    "food processor",
)
PORTIONED = ("by machine", "by weight", "by eye")
GRILL = "grill"
"""the kind of a cook step that comes after chill and peel, to serve"""
RESTING = "refrigerator"
CASINGS = ("cellulose", "collagen", "natural sheep", "natural hog", "fibrous", "plastic")
COOK_KINDS = (
    "dry",
    "smoke",
    "steam",
    "hot water",
    "shower",
    "hold",
    "charcoal cooker",
    "gas cooker",
    RESTING,
    GRILL,
)
