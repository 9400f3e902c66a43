"""To how many examples a law is held: a third of them day by day, five times as many in depth."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

DEEP = "deep"
FEWEST = 6
settings.register_profile("by day", deadline=None, max_examples=33)  # a busy machine is no failure
settings.register_profile(DEEP, settings.get_profile("by day"), max_examples=500)
settings.load_profile("by day")  # unless --hypothesis-profile says otherwise


def law(examples: int, *unchecked: HealthCheck, fewest: int = FEWEST) -> settings:
    """Return the settings of a law whose examples take long, or of one that few would prove."""
    is_deep = settings.get_current_profile_name() == DEEP
    count = 5 * examples if is_deep else max(fewest, examples // 3)
    return settings(max_examples=count, suppress_health_check=unchecked)
