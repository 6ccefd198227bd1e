"""Tension in a young slab: the formulas of ACI, from memory, against those of EN 1992-1-1:2004.

Reference: structuralcodes (fib): Ecm and fctm (table 3.1), nominal drying shrinkage (eq. B.11). The codes are
not alike; what is checked is that ours, from memory, are of the size that another code has.
"""

import pytest
from structuralcodes.codes import ec2_2004

from handover.concrete.restraint import drying_shrinkage, elastic_modulus, tensile_strength
from handover.practice.rules import practice

MORE_THAN_CHARACTERISTIC = 8.0  # MPa, fcm = fck + 8
DRY = 40  # per cent of relative humidity, at which the shrinkage of ACI 209 in the end is given


@pytest.mark.parametrize("strength_mpa", [12.0, 16.0, 20.0, 25.0, 30.0])
def test_it_tears_at_the_strain_of_another_code(strength_mpa: float) -> None:
    """Tensile strength over modulus, which is all that the hour of cracking hangs on. Within 25 %."""
    modulus = ec2_2004.Ecm(strength_mpa + MORE_THAN_CHARACTERISTIC)
    expected = ec2_2004.fctm(strength_mpa) / modulus
    assert tensile_strength(strength_mpa) / elastic_modulus(strength_mpa) == pytest.approx(expected, rel=0.25)


@pytest.mark.parametrize("strength_mpa", [12.0, 20.0, 30.0, 40.0])
def test_modulus_is_that_of_the_softer_aggregates(strength_mpa: float) -> None:
    """EN 1992-1-1 3.1.3: table 3.1 is for quartzite; sandstone has 30 % less. A tenth is allowed below."""
    quartzite = ec2_2004.Ecm(strength_mpa + MORE_THAN_CHARACTERISTIC)
    assert 0.6 * quartzite <= elastic_modulus(strength_mpa) <= quartzite


def test_shrinkage_in_the_end_is_the_cautious_one() -> None:
    """Between the slowest and the quickest cement of EN 1992 in dry air, nearer to the quickest."""
    slow, ordinary, quick = (
        ec2_2004.eps_cd_0(ec2_2004.alpha_ds1(cement), ec2_2004.alpha_ds2(cement), 28.0, ec2_2004.beta_RH(DRY))
        for cement in "SNR"
    )
    end = float(drying_shrinkage(1e9, practice()["sawing.shrinkage"]))
    assert slow < ordinary < end <= quick
