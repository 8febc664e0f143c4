import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.physics import wood

# thermal-optical.md §1.4: G of Wood Handbook Table 4-7 (from memory); k at 12 % as printed there to two digits [R,
# read through a reprint]; computed k ovendry and at 12 % [C]: second route, not an outside source.
SPECIES = [
    ("ash, white", 0.63, "0.1409", "0.1716", "0.17"),
    ("beech, American", 0.68, "0.1506", "0.1838", "0.18"),
    ("birch, yellow", 0.66, "0.1467", "0.1789", "0.18"),
    ("birch, sweet", 0.71, "0.1565", "0.1911", "0.19"),
    ("cherry, black", 0.53, "0.1215", "0.1474", "0.15"),
    ("chestnut, American", 0.45, "0.1060", "0.1279", "0.13"),
    ("maple, sugar", 0.66, "0.1467", "0.1789", "0.18"),
    ("maple, red", 0.56, "0.1273", "0.1546", "0.15"),
    ("oak, northern red", 0.65, "0.1448", "0.1765", "0.18"),
    ("oak, white", 0.72, "0.1584", "0.1935", "0.19"),
    ("yellow-poplar", 0.46, "0.1079", "0.1304", "0.13"),
    ("Douglas-fir, coast", 0.51, "0.1176", "0.1425", "0.14"),
    ("fir, white", 0.41, "0.0982", "0.1182", "0.12"),
    ("fir, balsam", 0.37, "0.0905", "0.1085", "0.11"),
    ("pine, eastern white", 0.37, "0.0905", "0.1085", "0.11"),
    ("pine, ponderosa", 0.42, "0.1002", "0.1206", "0.12"),
    ("pine, loblolly", 0.54, "0.1235", "0.1498", "0.15"),
    ("pine, longleaf", 0.62, "0.1390", "0.1692", "0.17"),
]


# CV-1.4 [R] and CV-1.5 [C] are rows of this table.
@pytest.mark.parametrize(("species", "gravity", "ovendry", "computed", "table"), SPECIES)
def test_conductivity_of_the_species_table(printed, species, gravity, ovendry, computed, table):
    assert wood.wood_conductivity(gravity, 0) == printed(ovendry), species
    assert wood.wood_conductivity(gravity, 12) == printed(computed), species
    assert wood.wood_conductivity(gravity, 12) == printed(table), species


# §1.4, rows without an ovendry value [C]: second route, not an outside source.
def test_conductivity_at_a_given_gravity(printed):
    assert wood.wood_conductivity(0.55, 12) == printed("0.1522")
    assert wood.wood_conductivity(0.45, 12) == printed("0.1279")


# CV-1.1 [R], worked example in the documentation of an open library of wood chemistry: 1.9146 kJ/(kg K), A_c 0.2008.
def test_specific_heat_of_the_worked_example(printed):
    assert wood.wood_specific_heat(340.0, 12.0) / 1000 == printed("1.9146")
    mixture = (0.1031 + 0.003867 * 340 + 4.18 * 0.12) / 1.12
    assert wood.wood_specific_heat(340.0, 12.0) / 1000 - mixture == printed("0.2008")


# CV-1.2 [R], worked example of the same library: G_x 0.5882, k 0.1567.
def test_conductivity_of_the_worked_example(printed):
    gravity = wood.specific_gravity_at(0.54, moisture_percent=10, shrinkage_percent=12.3)
    assert gravity == printed("0.5882")
    assert wood.wood_conductivity(gravity, 10) == printed("0.1567")


# CV-1.3 [R], Wood Handbook ch. 4, text example for white ash: 678 kg/m³ printed, 677.6 computed.
def test_density_of_the_handbook_example(printed):
    assert wood.wood_density(0.605, 12) == printed("678")
    assert wood.wood_density(0.605, 12) == printed("677.6")


# CV-1.6 [C]: second route, not an outside source. The handbook's figure reads 0.605.
def test_gravity_without_a_species_shrinkage(printed):
    gravity = wood.specific_gravity_at(0.55, 12, wood.volumetric_shrinkage(0.55))
    assert gravity == printed("0.6027")
    assert wood.wood_density(gravity, 12) == printed("675.0")
    assert gravity == pytest.approx(0.605, abs=0.003)  # read off a figure


# §1.5 table [C]: second route, not an outside source.
@pytest.mark.parametrize(
    ("temperature", "values"),
    [
        (280, ["1.1859", "1.3460", "1.5375", "1.7151"]),
        (300, ["1.2632", "1.4432", "1.6632", "1.8739"]),
        (320, ["1.3405", "1.5405", "1.7889", "2.0328"]),
        (340, ["1.4179", "1.6377", "1.9146", "2.1916"]),
        (360, ["1.4952", "1.7350", "2.0403", "2.3505"]),
    ],
)
def test_specific_heat_table(printed, temperature, values):
    for moisture, text in zip([0, 5, 12, 20], values, strict=True):
        assert wood.wood_specific_heat(temperature, moisture) / 1000 == printed(text)


# §1.6 [C]: second route, not an outside source: diffusivity and effusivity at 12 %, 297 K.
@pytest.mark.parametrize(
    ("basic", "density", "conductivity", "diffusivity", "effusivity"),
    [
        (0.55, "675.0", "0.1650", "1.487e-7", "428.0"),
        (0.56, "688.5", "0.1679", "1.483e-7", "436.0"),
        (0.34, "402.6", "0.1059", "1.600e-7", "264.8"),
    ],
)
def test_diffusivity_table(printed, basic, density, conductivity, diffusivity, effusivity):
    gravity = wood.specific_gravity_at(basic, 12, wood.volumetric_shrinkage(basic))
    k, rho, c = wood.wood_conductivity(gravity, 12), wood.wood_density(gravity, 12), wood.wood_specific_heat(297, 12)
    assert c == printed("1644.4")
    assert rho == printed(density)
    assert k == printed(conductivity)
    assert k / (rho * c) == printed(diffusivity)
    assert np.sqrt(k * rho * c) == printed(effusivity)


# §1.1 [R]: the handbook prints the same equation for k in Btu in/(h ft² °F) with A 0.129, B 1.34, C 0.028.
def test_conductivity_agrees_with_the_handbooks_other_units():
    btu = 1055.056 * 0.0254 / (3600 * 0.3048**2 * (5 / 9))  # W/(m K)
    for gravity in (0.35, 0.5, 0.7):
        other = (gravity * (1.34 + 0.028 * 12) + 0.129) * btu
        # Its coefficients have three, three and two digits: B and C are off by up to 0.4 %, and 1.8 % for C's rounding.
        assert wood.wood_conductivity(gravity, 12) == pytest.approx(other, rel=0.01)


def test_swelling_ends_at_fibre_saturation():
    assert wood.specific_gravity_at(0.5, 30, 14.0) == pytest.approx(0.5)
    assert np.all(np.diff(wood.specific_gravity_at(0.5, np.array([0.0, 10, 20, 30]), 14.0)) < 0)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: wood.wood_conductivity(0.2, 12), "specific_gravity"),
        (lambda: wood.wood_conductivity(0.6, 26), "moisture_percent"),
        (lambda: wood.wood_specific_heat(500, 12), "temperature"),
        (lambda: wood.wood_specific_heat(300, 31), "moisture_percent"),
        (lambda: wood.wood_density(0, 12), "specific_gravity"),
        (lambda: wood.volumetric_shrinkage(-0.5), "basic_specific_gravity"),
        (lambda: wood.specific_gravity_at(0.5, 40, 14), "moisture_percent"),
        (lambda: wood.specific_gravity_at(0.5, 10, 60), "shrinkage_percent"),
    ],
)
def test_refuses_to_extrapolate(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
