"""What pipe walls are made of, against the sources of data/materials.csv and second ones.

Most figures are printed with two or three digits; where the last place is coarser than 1 %, the test asserts that we
took the printed figure itself, and a second source holds it to its own spread.
"""

import pytest

from drenchbook.published.pipes import pipe
from tests.printed import printed
from tests.us_units import PSI

BTU_IN = 0.1442279  # W/(m·K) of one Btu·in/(h·ft²·°F)
BTU_LB = 4186.8  # J/(kg·K) of one Btu/(lb·°F)
POUND_PER_CUBIC_INCH = 0.45359237 / 0.0254**3
COPPER = [("copper K", "1"), ("copper L", "1"), ("copper M", "1"), ("copper EN 1057", "28x1.2")]
STEEL = [("steel 40", "1"), ("steel 80", "1")]


@pytest.mark.parametrize("tube", COPPER, ids=lambda tube: tube[0])
class TestCopper:
    """Copper fact sheets, Copper Development Association 2001; Mechanical Engineers' Handbook vol. 4 p. 150."""

    def test_density(self, tube):
        """Printed for DHP copper: 8.94 g/cm³, 0.323 lb/in³ (the alloy of tube; pure copper 8.933 in the handbook)."""
        assert pipe(*tube).wall_density / 1000 == printed("8.94")
        assert pipe(*tube).wall_density / POUND_PER_CUBIC_INCH == printed("0.323")

    def test_heat_capacity(self, tube):
        """Printed at 20 °C: 0.386 J/g·°C and 0.0921 Btu/lb·°F; the handbook has 385 J/kg·K at 300 K."""
        assert pipe(*tube).wall_heat_capacity / 1000 == printed("0.386")
        assert pipe(*tube).wall_heat_capacity / BTU_LB == pytest.approx(0.0921, abs=0.0001)
        assert pipe(*tube).wall_heat_capacity == pytest.approx(385, abs=1)

    def test_conductivity(self, tube):
        """Printed at 20 °C: 3.94 W·cm/cm²·°C and 227 Btu·ft/ft²·h·°F (pure copper)."""
        assert pipe(*tube).wall_conductivity / 100 == printed("3.94")
        assert pipe(*tube).wall_conductivity / (12 * BTU_IN) == pytest.approx(227, abs=1)

    def test_elasticity(self, tube):
        """Engineering ToolBox: 117 GPa, 17 million psi."""
        assert pipe(*tube).wall_elasticity / 1e9 == printed("117")
        assert pipe(*tube).wall_elasticity / PSI / 1e6 == printed("17")

    def test_hazen_williams_c(self, tube):
        """Engineers Edge prints 140 for copper; other tables 130 to 140."""
        assert pipe(*tube).hazen_williams_c == printed("140")


@pytest.mark.parametrize("tube", STEEL, ids=lambda tube: tube[0])
class TestSteel:
    """Callister, Table B.1; Heat and Mass Transfer Data Book, carbon steel of 0.5 % C at 20 °C."""

    def test_density(self, tube):
        """Callister, steel alloy A36: 7.85 g/cm³, 0.283 lb/in³ (which rounds 0.2836)."""
        assert pipe(*tube).wall_density / 1000 == printed("7.85")
        assert pipe(*tube).wall_density / POUND_PER_CUBIC_INCH == pytest.approx(0.283, abs=0.0007)

    def test_heat_capacity(self, tube):
        """Data book: 465 J/kg·K; Kalpakjian, Table 3.1: steels 448 to 502."""
        assert pipe(*tube).wall_heat_capacity == printed("465")
        assert 448 <= pipe(*tube).wall_heat_capacity <= 502

    def test_conductivity(self, tube):
        """Data book: 53.6 W/m·K; Kalpakjian, Table 3.1: steels 15 to 52, the data book's carbon steels 36 to 64."""
        assert pipe(*tube).wall_conductivity == printed("53.6")
        assert 36 <= pipe(*tube).wall_conductivity <= 64

    def test_elasticity(self, tube):
        """Callister, Table B.2, steel alloy A36: 207 GPa, 30 million psi."""
        assert pipe(*tube).wall_elasticity / 1e9 == printed("207")
        assert pipe(*tube).wall_elasticity / PSI / 1e6 == printed("30")

    def test_roughness(self, tube):
        """Crane TP-410: commercial steel 0.0018 in."""
        assert pipe(*tube).roughness / 0.0254 == printed("0.0018")
        assert pipe(*tube).roughness == pytest.approx(0.0018 * 0.0254, rel=1e-6)

    def test_hazen_williams_c(self, tube):
        """EPANET 2.2, Table 3.1, prints 120 for galvanized iron, as NFPA 13 has for wet steel pipe (from memory)."""
        assert pipe(*tube).hazen_williams_c == printed("120")


class TestStainless:
    """Type 304: Callister, Table B.1, and the AISI 304 data sheet, https://www.scribd.com/document/416534641."""

    def test_density(self):
        """Callister: 8.00 g/cm³, 0.289 lb/in³."""
        assert pipe("stainless 10S", "1").wall_density / 1000 == printed("8.00")
        assert pipe("stainless 10S", "1").wall_density / POUND_PER_CUBIC_INCH == printed("0.289")

    def test_heat_capacity(self):
        """Data sheet: 0.5 J/g·°C, 0.12 Btu/lb·°F; 500 J/kg·K in a table of the austenitic grades."""
        assert pipe("stainless 10S", "1").wall_heat_capacity == printed("500")
        assert pipe("stainless 10S", "1").wall_heat_capacity / BTU_LB == printed("0.12")

    def test_conductivity(self):
        """Data sheet, 0 to 100 °C: 16.2 W/m·K, 112 Btu·in/h·ft²·°F."""
        assert pipe("stainless 10S", "1").wall_conductivity == printed("16.2")
        assert pipe("stainless 10S", "1").wall_conductivity / BTU_IN == printed("112")

    def test_elasticity(self):
        """Callister, Table B.2, stainless alloy 304: 193 GPa, 28 million psi."""
        assert pipe("stainless 10S", "1").wall_elasticity / 1e9 == printed("193")
        assert pipe("stainless 10S", "1").wall_elasticity / PSI / 1e6 == printed("28")

    def test_roughness_is_that_of_commercial_steel(self):
        """EPANET 2.2, Table 3.2: steel 0.15 thousandths of a foot; common practice for stainless pipe."""
        assert pipe("stainless 10S", "1").roughness / 0.3048e-3 == printed("0.15")
        assert pipe("stainless 10S", "1").roughness == pytest.approx(0.15e-3 * 0.3048, rel=1e-6)

    def test_hazen_williams_c(self):
        """Common practice; Engineers Edge prints 140 for welded and seamless pipe."""
        assert pipe("stainless 10S", "1").hazen_williams_c == printed("140")


class TestPlastics:
    """Wikipedia, chlorinated polyvinyl chloride; a property table of CPVC pipe; AixLib, PE-X pipe records."""

    def test_cpvc_density(self):
        """Printed: 1.56 g/cm³."""
        assert pipe("CPVC", "1").wall_density / 1000 == printed("1.56")

    def test_cpvc_heat_capacity(self):
        """Printed: 0.9 kJ/(kg·K), one digit, taken as it stands."""
        assert pipe("CPVC", "1").wall_heat_capacity == pytest.approx(1000 * 0.9, rel=1e-9)

    def test_cpvc_conductivity(self):
        """Property table: 0.137 W/m·K, 0.95 Btu·in/h·ft²·°F; a plastics manual prints 1.0 of the latter."""
        assert pipe("CPVC", "1").wall_conductivity == printed("0.137")
        assert pipe("CPVC", "1").wall_conductivity / BTU_IN == printed("0.95")

    def test_pex_density(self):
        """AixLib: d=940 kg/m³."""
        assert pipe("PEX", "1").wall_density == printed("940")

    def test_pex_heat_capacity(self):
        """AixLib: c=2300 J/(kg·K)."""
        assert pipe("PEX", "1").wall_heat_capacity == printed("2300")

    def test_pex_conductivity(self):
        """AixLib: lambda=0.38 W/(m·K), taken as it stands; a plastics manual prints 2.4 Btu·in/h·ft²·°F (0.35)."""
        assert pipe("PEX", "1").wall_conductivity == pytest.approx(0.38, rel=1e-9)
        assert pipe("PEX", "1").wall_conductivity / BTU_IN == pytest.approx(2.4, rel=0.12)

    def test_cpvc_elasticity(self):
        """Facility Piping Systems Handbook, Table 2.7: tensile modulus of CPVC 485 to 510 thousand psi."""
        assert pipe("CPVC", "1").wall_elasticity / PSI / 1000 == printed("510")

    def test_pex_elasticity(self):
        """Callister, Table B.2: polyethylene of high density 1.08 GPa, 0.157 million psi; PEX is softer."""
        assert pipe("PEX", "1").wall_elasticity / 1e9 == printed("1.08")
        assert pipe("PEX", "1").wall_elasticity / PSI / 1e6 == printed("0.157")

    @pytest.mark.parametrize("material", ["CPVC", "PEX"])
    def test_roughness(self, material):
        """EPANET 2.2, Table 3.2, plastic: 0.005 thousandths of a foot."""
        assert pipe(material, "1").roughness == pytest.approx(0.005e-3 * 0.3048, rel=1e-6)

    @pytest.mark.parametrize("material", ["CPVC", "PEX"])
    def test_hazen_williams_c(self, material):
        """EPANET 2.2, Table 3.1, plastic 140 to 150: the lower end; Engineering ToolBox, polyethylene 140."""
        assert pipe(material, "1").hazen_williams_c == printed("140")
