"""The cautions of this room, in one place, so that every view shows the same words."""

VALIDATES_NOTHING = (
    "This page compares a record with published figures. It validates nothing, certifies nothing and does not say that "
    "a product is safe. The text in force, "
    "the licensed processor and the inspector decide."
)
ONE_PROBE = "A record is valid for the place where the tip of the probe was. Other links may have been colder; the coldest one decides."
SURFACE = (
    "A core says nothing about a dry surface. On low-fat product, very hot dry air did not give the reduction at "
    "the surface that a high wet bulb gave; "
    "keep the surface moist while it is being heated."
)
FRANKS = (
    "Bacteria in a salted, cured frankfurter survive more heat than the table implies: "
    "published D values of frankfurters are several times longer at the same temperature."
)
COOKED_IN = "The tables are for the cook alone. They say nothing about what gets on the product afterwards when it is peeled, cut or packed."
COOLING = (
    "Spores outlive the cook and can grow while the product cools. How much cannot be calculated from a record; "
    "only the published windows are compared, and they differ "
    "between sources and editions."
)
LAW = "Editions change. Use the edition that your authority holds you to."
ALL = (VALIDATES_NOTHING, ONE_PROBE, SURFACE, FRANKS, COOKED_IN, COOLING, LAW)
