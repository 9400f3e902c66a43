"""The shares of depths in the root zone of a block."""

import numpy as np
import pytest

from alerts.root_zone import find_basis, root_zone_weights


@pytest.mark.parametrize(
    ("depths_cm", "expected"),
    [
        # by hand: T is linear between depths, so each half layer's mean is T at its middle:
        # 15-30 at 22.5 cm, 30-45 at 37.5 cm, each half of the weight
        pytest.param([15, 30, 45], [0.25, 0.5, 0.25], id="probes at both ends and the middle"),
        # by hand: 15-30 at 22.5 = 0.375 of T10 + 0.625 of T30; 30-45 at 37.5 = 0.75 of T30 +
        # 0.25 of T60; half each
        pytest.param([10, 30, 60], [0.1875, 0.6875, 0.125], id="probes beyond both ends"),
        pytest.param([30], [1.0], id="one probe"),
        # by hand: constant above 20 cm: 15-20 all T20; 20-45 at 32.5 = 0.75 of T20 + 0.25 of T70
        pytest.param([20, 70], [(5 + 25 * 0.75) / 30, 25 * 0.25 / 30], id="none above the top"),
        # by hand: 15-20 at 17.5 = 0.25 of T10 + 0.75 of T20, then constant T20
        pytest.param([10, 20], [5 * 0.25 / 30, (5 * 0.75 + 25) / 30], id="none below the middle"),
    ],
)
def test_even_weights_are_the_mean_over_the_root_zone(depths_cm, expected) -> None:
    assert root_zone_weights(depths_cm, 15, 45) == pytest.approx(expected, abs=1e-12)


def test_root_weights_agree_with_the_integral_over_the_density_of_roots() -> None:
    z_cm = np.linspace(15, 45, 30_001)
    density = 0.983**z_cm  # source: [GALE-1987], from memory; dY/dz up to a constant factor
    depths_cm = [10, 30, 60]
    by_integral = [
        np.trapezoid(density * np.interp(z_cm, depths_cm, unit), z_cm) / np.trapezoid(density, z_cm)
        for unit in np.eye(3)
    ]
    assert root_zone_weights(depths_cm, 15, 45, "roots") == pytest.approx(by_integral, abs=1e-7)


@pytest.mark.parametrize(
    ("depths_cm", "expected"),
    [
        pytest.param([10], [10], id="5 cm above the root zone speaks for it"),
        pytest.param([9.9], [], id="more than 5 cm above does not"),
        pytest.param([50], [50], id="5 cm below speaks for it"),
        pytest.param([5, 60], [], id="two that only straddle it do not"),
        pytest.param([5, 10, 20, 50, 100], [10, 20, 50], id="those without a part are left out"),
        pytest.param([], [], id="no probe"),
    ],
)
def test_the_basis_of_a_block(depths_cm, expected) -> None:
    assert list(find_basis(depths_cm, 15, 45)) == expected
