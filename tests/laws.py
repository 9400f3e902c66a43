"""To how many examples a law is held: some day by day, five times as many in the deep run."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

DEEP = "deep"
settings.register_profile("by day", deadline=None)  # a busy machine is no failure
settings.register_profile(DEEP, settings.get_profile("by day"), max_examples=500)
settings.load_profile("by day")  # unless --hypothesis-profile says otherwise


def law(examples: int, *unchecked: HealthCheck) -> settings:
    """Return the settings of a law whose examples take long, or of one that few would prove."""
    times = 5 if settings.get_current_profile_name() == DEEP else 1
    return settings(max_examples=times * examples, suppress_health_check=unchecked)
