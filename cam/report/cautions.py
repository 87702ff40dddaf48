"""Safety cautions: short, and second to local codes, the machine's manual and licensed trades."""

from __future__ import annotations

from typing import NamedTuple


class Caution(NamedTuple):
    """A hazard and what to do about it."""

    hazard: str
    advice: str


PRECEDENCE = (
    "The codes of your place, the manuals of machine, cutter and sheet, and the judgement of licensed people come "
    "before anything written here. A proof covers the program's moves; it does not see the machine, the clamps or "
    "the people."
)

CAUTIONS = (
    Caution(
        "Spindle",
        "A cutter at full speed shows no sign of turning. Keep hands, sleeves, hair and gloves away until it stands "
        "still, stay at the stop button, and run the first sheet of a program above the work.",
    ),
    Caution(
        "Flying slugs",
        "A loose offcut can be caught and thrown. Check the hold-down before the start; never reach for a slug while "
        "the spindle turns.",
    ),
    Caution("Eyes", "Wear eye protection, visitors too: acrylic chips and broken cutters travel far."),
    Caution(
        "Dust and heat",
        "Run extraction, wear a dust mask when emptying it, and sweep up chips: they are slippery, charged and can "
        "burn. Stop at the smell of melting.",
    ),
    Caution("Noise", "Wear hearing protection while the spindle and the extraction run."),
    Caution(
        "Electrical work",
        "A cut-out for an accessory is a hole in a board, no more. Isolating, proving dead, connecting and closing up "
        "belong to a licensed electrician.",
    ),
    Caution(
        "Hobs and other heat",
        "Acrylic softens and burns. Whether a panel may stand near a hob, and how far away, is for local code and the "
        "appliance's instructions to say; castcut does not judge it.",
    ),
)
