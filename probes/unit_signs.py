"""Signs of temperatures in another unit than declared, which no header gave away."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from probes.frames import LoggerFile
from probes.units import Unit

HOT_C, COLD_C = 40.0, -4.0
"""Beyond which half of a delivery does not lie where vines grow; ours: [UTAH-PROFILE] has 22 °C
for the half of its July at 5 cm, [US-TW3] 25 °C at 4 cm. 64 °F taken for °C is 64 °C, 20 °C taken
for °F is -6.7 °C."""

SHALLOWEST_CM = 5.0


def find_unit_sign(
    file: LoggerFile, depth_cm: Mapping[str, float], unit: Unit | None, remedy: str
) -> list[str]:
    """Return a sign that readings are in the other unit; none where nothing speaks for it.

    Parameters
    ----------
    file : LoggerFile
    depth_cm : mapping of str to float
        Of each channel.
    unit : "C", "F" or None
        Declared; None: not known, any may be.
    remedy : str
        What to check.
    """
    for channel, depth in sorted(depth_cm.items(), key=lambda item: -item[1]):
        if channel not in file.channels or depth < SHALLOWEST_CM:
            continue
        soil_temp_c = file.soil_temp_c[:, file.channels.index(channel)]
        if np.isnan(soil_temp_c).all():
            continue
        middle_c = float(np.nanmedian(soil_temp_c))
        other = "F" if middle_c > HOT_C else "C" if middle_c < COLD_C else None
        if other is not None and other != unit:
            beyond = "above" if other == "F" else "below"
            return [
                f"half of the readings at {depth:g} cm lie {beyond} {middle_c:.1f} °C, which soil "
                f"hardly does: are they °{other}? {remedy}"
            ]
    return []
