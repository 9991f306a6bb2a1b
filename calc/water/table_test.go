package water

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

// kellKgM3 is the density of Kell, J. Chem. Eng. Data 20, 97, 1975, as quoted in
// Jones & Harris, J. Res. NIST 97, 335, 1992; a page that carries it prints the
// denominator's constant with two digits swapped.
func kellKgM3(t, denominator float64) float64 {
	return (999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-t*280.54253e-12))))) / (1 + denominator*t)
}

func TestDensity_Tables(t *testing.T) {
	t.Parallel()
	const kell = 16.879850e-3
	// Tanaka et al. 2001, UNESCO Tech. Papers Mar. Sci. 44 and Kell 1975,
	// recomputed from the published coefficients.
	for _, c := range []struct{ tC, kell, tanaka, unesco float64 }{
		{0, 999.8395, 999.8428, 999.8426}, {4, 999.9720, 999.9749, 999.9750}, {5, 999.9638, 999.9668, 999.9668},
		{10, 999.6996, 999.7027, 999.7021}, {15, 999.0996, 999.1026, 999.1016}, {20, 998.2041, 998.2067, 998.2063},
		{25, 997.0449, 997.0470, 997.0480}, {30, 995.6473, 995.6488, 995.6511}, {35, 994.0319, 994.0326, 994.0359}, {40, 992.2158, 992.2152, 992.2204},
	} {
		near(t, "Tanaka", DensityKgM3(c.tC), c.tanaka, 1e-4)
		near(t, "UNESCO", unescoKgM3(c.tC), c.unesco, 1e-4)
		near(t, "Kell", kellKgM3(c.tC, kell), c.kell, 1e-4)
		near(t, "Tanaka over Kell", DensityKgM3(c.tC), c.kell, 0.0035)
	}
	// The swapped digits are no rounding: they move the maximum off 999.97.
	near(t, "Kell as misprinted, 4 °C", kellKgM3(4, 16.897850e-3), 999.9046, 1e-3)
}

func TestOxygenSaturation_Table(t *testing.T) {
	t.Parallel()
	const mmHg = 133.322368
	// Benson & Krause 1984 and Standard Methods 4500-O, recomputed; the pressure
	// terms from memory. Last column: the table of EN 25814.
	for _, c := range []struct{ tC, at760, at700, at600, at09, en float64 }{
		{0, 14.621, 13.461, 11.526, 13.151, 14.6}, {4, 13.108, 12.066, 10.328, 11.788, 13.1}, {5, 12.771, 11.755, 10.061, 11.484, 12.8},
		{10, 11.288, 10.387, 8.884, 10.146, 11.3}, {15, 10.084, 9.275, 7.926, 9.059, 10.1}, {20, 9.092, 8.358, 7.134, 8.162, 9.09},
		{25, 8.263, 7.590, 6.469, 7.411, 8.26}, {30, 7.559, 6.936, 5.899, 6.770, 7.56}, {35, 6.949, 6.369, 5.401, 6.214, 6.949}, {40, 6.413, 5.867, 4.957, 5.721, 6.413},
	} {
		for _, p := range []struct{ pa, want, tol float64 }{
			{101325, c.at760, 0.002}, {700 * mmHg, c.at700, 0.003}, {600 * mmHg, c.at600, 0.003}, {0.9 * 101325, c.at09, 0.003}, {101325, c.en, 0.05},
		} {
			got, err := OxygenSaturation(unit.Celsius(c.tC), unit.Pascals(p.pa))
			if err != nil {
				t.Fatal(err)
			}
			near(t, "oxygen", float64(got), p.want, p.tol)
		}
	}
}

func TestAirPressure_Table(t *testing.T) {
	t.Parallel()
	// U.S. Standard Atmosphere 1976, recomputed: share of the pressure at sea level
	// and psia; then ISO 2533 in mmHg.
	for ft, want := range map[float64]float64{0: 1, 1000: 0.9644, 2000: 0.9298, 5000: 0.8320, 7000: 0.7716, 10000: 0.6877} {
		p, err := AirPressure(unit.Feet(ft))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "p/p0", float64(p)/101325, want, 1e-4)
		near(t, "psia", p.PSIA(), want*14.696, 2e-3)
	}
	for m, want := range map[float64]float64{300: 733.35, 500: 716.02, 1000: 674.11, 1500: 634.22, 2000: 596.26} {
		p, err := AirPressure(unit.Meters(m))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mmHg", float64(p)/133.322368, want, 0.05)
	}
}

func TestBuoyancyFrequency_Periods(t *testing.T) {
	t.Parallel()
	// UNESCO densities, g = 9.81: recomputed.
	near(t, "26 over 18 °C in 1 m, s", 2*math.Pi/buoyancyFrequency(unescoKgM3(26), unescoKgM3(18), 1), 47.1, 0.1)
	near(t, "20 over 19 °C in 1 m, s", 2*math.Pi/buoyancyFrequency(unescoKgM3(20), unescoKgM3(19), 1), 141.4, 0.1)
}

// TestMixingEnergy_IsStabilityTimesSurface: 5.0365 J/m² over 4,000 m² of a cone
// are 20,146 J; closed form with UNESCO densities, recomputed.
func TestMixingEnergy_IsStabilityTimesSurface(t *testing.T) {
	t.Parallel()
	cone := bowl(t, 4000, 4, 2, 2000)
	p := readings(t, [3]float64{0, 25, 0}, [3]float64{2 - 1e-6, 25, 0}, [3]float64{2, 15, 0}, [3]float64{4, 15, 0})
	near(t, "J", float64(MixingEnergy(p, cone)), 20146, 0.002*20146) // by the package's own density
	near(t, "J over J/m²", float64(MixingEnergy(p, cone))/float64(Stability(p, cone)), 4000, 1e-6)
}

// FuzzWater throws any numbers at the formulas: no panic, and what is accepted
// is finite.
func FuzzWater(f *testing.F) {
	f.Add(20.0, 101325.0, 4.0, 1e-3, 3.0, 150.0, 1500.0)
	f.Add(0.0, 50662.5, 0.0, 0.0, 0.0, 0.0, -500.0)
	f.Add(40.0, 111457.5, 30.0, 1.0, 100.0, 1500.0, 6000.0)
	f.Add(1e308, -1e308, 1e308, 1e-308, 1e18, -1.0, 1e9)
	f.Fuzz(func(t *testing.T, tC, pPa, oxygen, air, depth, heat, altitude float64) {
		temp := unit.Celsius(tC)
		check := func(what string, v float64, err error) {
			if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("%s is %v", what, v)
			}
		}
		rho, err := Density(temp)
		check("density", float64(rho), err)
		p, err := AirPressure(unit.Meters(altitude))
		check("pressure", float64(p), err)
		c, err := OxygenSaturation(temp, unit.Pascals(pPa))
		check("oxygen", float64(c), err)
		for _, b := range []Bubbles{FineBubbles, CoarseBubbles} {
			standard, err := StandardTransfer(unit.StdCubicMetersPerSecond(air), unit.Meters(depth), b)
			check("transfer", float64(standard), err)
			if err == nil {
				field, err := FieldTransfer(standard, unit.MilligramsPerLiter(oxygen), temp, unit.Pascals(pPa))
				check("field transfer", float64(field), err)
			}
		}
		w, err := HoldingPower(unit.WattsPerSquareMeter(heat), unit.Meters(depth), temp)
		check("holding", float64(w), err)
		days, err := Start{
			Upper: unit.CubicMeters(heat), Bottom: unit.CubicMeters(altitude), UpperOxygen: unit.MilligramsPerLiter(oxygen),
			Demand: unit.MilligramsPerLiter(depth), Lift: unit.CubicMetersPerSecond(air),
		}.Plan(30)
		for _, d := range days {
			check("run", float64(d.Run), err)
			check("oxygen of a day", float64(d.Expected), err)
		}
	})
}
