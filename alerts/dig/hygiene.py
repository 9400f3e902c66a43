"""What to clean between blocks: published procedures as examples, which local rules come before."""

from __future__ import annotations

from alerts.dig.order import Cleaning
from alerts.words import translations


def name_cleaning(cleaning: Cleaning, language: str) -> str:
    """Return what to do before a block is entered, in a few words."""
    _ = translations(language).gettext
    match cleaning:
        case Cleaning.FIRST:
            return _("begin with clean kit")
        case Cleaning.SOIL_OFF:
            return _("soil off")
        case Cleaning.DISINFECT:
            return _("soil off, disinfect")


def explain_order(language: str) -> str:
    """Return why the blocks stand in their order."""
    return translations(language).gettext(
        "First the blocks where digging has not found phylloxera, the surest before the others; "
        "then those that nobody has looked at, of which nothing is known; then suspected ones; "
        "last those where it was found. Within each a short way. A block that comes first may "
        "hold it all the same."
    )


def explain_cleaning(language: str) -> list[str]:
    """Return what cleaning means, a paragraph each.

    References
    ----------
    [AGVIC-DISINFEST], [VINEHEALTH-FOOTWEAR]; what is needed between which blocks is ours.
    """
    _ = translations(language).gettext
    return [
        _(
            "Soil off: at the edge of the block that you leave, brush and wash soil and plant "
            "matter off boots, tools and machines until none is to be seen. Roots and leaves stay "
            "in the block."
        ),
        _(
            "Disinfect, a published example (Agriculture Victoria, Vinehealth Australia): once "
            "the soil is off, boots and small tools stay for 60 seconds in 2 % active sodium "
            "hypochlorite and are not rinsed; the bath is made anew at least daily, and kept "
            "covered and in the shade. Half a minute with a rinse was found not to work."
        ),
        _(
            "Machines, a published example (Agriculture Victoria): cleaned first, then dry heat "
            "of at least 40 °C for 180 minutes, or 45 °C for 90 minutes. 40 °C for two hours has "
            "been withdrawn."
        ),
        _("These are procedures of one country: where local rules differ, follow those."),
    ]


def warn_of_cleaning(language: str) -> list[str]:
    """Return what to mind while cleaning, an item each."""
    _ = translations(language).gettext
    return [
        _(
            "Hypochlorite harms skin, eyes and lungs: follow the label, wear gloves and goggles, "
            "work in the open air and never mix it with acids or other cleaners."
        ),
        _(
            "Heat: let no one stay in a hot chamber, and keep fuel, batteries and aerosols out of "
            "it."
        ),
        _("Tools and machines: stop the engine before you clean, and mind blades."),
    ]
