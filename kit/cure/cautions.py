"""The cautions of this room, in one place, so that every view shows the same words."""

NITRITE = (
    "Nitrite is poisonous: a small amount of the pure salt can kill. Keep it and its premixes locked, labelled with their strength, apart from salt "
    "and sugar, and out of reach of anyone not trained to weigh them."
)
STRENGTH = "Read the strength on the bag in your hand. Premixes from 0.4 to 6.25 % look alike, and the rate of one is wrong for another."
WEIGH = "Weigh cure, never spoon it. Have a second person read the weight and tick the sheet before it goes into the bowl."
LAW = (
    "Limits differ between countries and change. The figures here carry their edition and status; the current text of your own authority, "
    "and a "
    "licensed processor or inspector, decide. This kit certifies nothing and does not say that a product is safe."
)
TOO_LITTLE = "protection against botulinum may be insufficient"
SALT_ALONE = "Salt at the level of a frankfurter does not stop Listeria or Clostridium by itself. You still need cooking, chilling, refrigeration and hygiene."
RESIDUAL = "What is left of the nitrite can only be measured. Surveys give ranges; no formula here predicts it."
NATURAL = "Celery powder and similar sources bring real nitrite or nitrate. Without an assay of the lot the dose is unknown, in both directions."
BLENDS = (
    "Read the bag of every seasoning blend: one that already carries cure is written as a cure line, or its nitrite comes on top. Only rework of the "
    "same recipe brings the same dose."
)
POISONED = (
    "Product made with too much nitrite is not eaten, not tasted and not given away. If someone may have eaten too much nitrite (blue lips, breathlessness, "
    "dizziness), call the emergency services at once, or your poison centre for advice, and keep the bag and the product."
)
