"""What a digger is told besides the dates: the scouting card, and the cautions of every message.

The card rests on [UC-PHYLLOXERA], [OSU-SAMPLING] and [LUND-UCCE]; where to dig first is common
practice without a source.
"""

from __future__ import annotations

from alerts.words import translations


def scouting_card(language: str) -> list[str]:
    """Return what to do while dig season is open, a paragraph each."""
    _ = translations(language).gettext
    return [
        _(
            "Where to dig: beside the trunk, through the depths of the root zone given above. "
            "Begin with strong vines that border weak ones: vines whose roots have died seldom "
            "carry live insects. Weak patches tend to lengthen along the rows."
        ),
        _(
            "What to take: a spade, a hand lens of 10x to 20x, bags, labels and something to "
            "write with."
        ),
        _(
            "What to look for: on the fine roots, pale yellowish swellings, often hooked, are "
            "fresh; dark, shrivelled ones are old. Beside them look for yellow insects about 1 mm "
            "long and their eggs. Clusters show to the naked eye, single insects under the lens. "
            "Breathe on them gently: live ones move their antennae."
        ),
        _(
            "Between blocks: brush and wash the soil off boots and tools before you go on. Go "
            "last to blocks where phylloxera has been found."
        ),
        _(
            "Afterwards: write down every vine you dug. A dig without a find is weak evidence: it "
            "can take two to five years before an infestation can be found, so plan to dig again."
        ),
    ]


def cautions(language: str) -> list[str]:
    """Return what every message says about harm and law, a paragraph each."""
    _ = translations(language).gettext
    return [
        _(
            "Buried lines: have them located by your local before-you-dig service first. It "
            "usually does not mark private irrigation and power lines: ask whoever laid them."
        ),
        _("Heat: dig in the cool hours, drink water and do not work alone."),
        _("Sharp tools: wear gloves and stout boots, and keep your distance from each other."),
        _("Disinfectants: follow the label."),
        _(
            "Local rules: those on moving soil and plants and on reporting a find come before "
            "anything written here."
        ),
    ]


def short_cautions(language: str) -> str:
    """Return the cautions in the few words an SMS has room for."""
    return translations(language).gettext("Mind buried lines, heat, sharp tools, local rules.")
