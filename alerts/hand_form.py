"""The words of the page on which a thermometer's reading is noted."""

from __future__ import annotations

from alerts.words import translations


def form_words(language: str) -> dict[str, str]:
    """Return the labels of the form, by the names its template has for them."""
    _ = translations(language).gettext
    return {
        "depth_label": _("How deep"),
        "temperature_label": _("What it reads"),
        "unit_label": _("Unit"),
        "day_label": _("Day"),
        "time_label": _("Time"),
        "person_label": _("Your name"),
        "note_label": _("Note, if any"),
        "button": _("Note the reading"),
        "advice": _(
            "Push the thermometer in to the depth, wait until it rests, and read it in the ground. "
            "Read it at about the same hour each time, two times a week or more: days between two "
            "readings are estimated only where they are at most four days apart."
        ),
    }


def latest_title(language: str) -> str:
    """Return the heading above the latest readings."""
    _ = translations(language).gettext
    return _("Latest readings")


def word_take_back(language: str) -> str:
    """Return what stands on the button beside a reading."""
    _ = translations(language).gettext
    return _("Take back")


def not_noted(language: str) -> str:
    """Return what stands before the reason."""
    _ = translations(language).gettext
    return _("Not noted.")


def dead_link(language: str) -> tuple[str, str]:
    """Return title and text of the page behind a link that does not hold."""
    _ = translations(language).gettext
    return (
        _("This link does not hold"),
        _("It may have been revoked. Ask whoever gave it to you for a new one."),
    )
