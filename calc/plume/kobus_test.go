package plume

import (
	"math"
	"testing"

	"pondwright/calc/unit"
)

// kobusFluxes are fluxes of water measured above a single orifice in about
// 4.5 m of water: Kobus, Proc. 11th Coastal Engineering Conf., 1968, figure 13
// (doi 10.1061/9780872620131.065), as digitized in the open bubble-plume data
// set of sbsLabib (MIT license).
var kobusFluxes = []struct{ airCM3S, heightM, waterM3S float64 }{
	{130, 0.533, 0.00426}, {130, 1.042, 0.00857}, {130, 1.486, 0.01107},
	{400, 0.509, 0.00673}, {400, 0.509, 0.00775}, {400, 0.517, 0.00917},
	{400, 1.034, 0.02094}, {400, 0.994, 0.02165},
	{400, 1.520, 0.02200}, {400, 1.512, 0.02610}, {400, 1.511, 0.02752},
	{400, 1.956, 0.03070}, {400, 1.997, 0.03440}, {400, 2.004, 0.03700},
	{400, 2.457, 0.04531}, {400, 2.732, 0.04741},
	{400, 3.232, 0.06778}, {400, 3.240, 0.07251}, {400, 3.248, 0.07345},
	{1300, 2.030, 0.07210}, {1300, 2.766, 0.10823}, {1300, 3.276, 0.12293},
	{2550, 0.518, 0.01776}, {2550, 1.011, 0.04659}, {2550, 1.513, 0.06738},
	{2550, 2.023, 0.11077}, {2550, 2.241, 0.12822}, {2550, 2.783, 0.17361}, {2550, 3.268, 0.21903},
	{4200, 2.015, 0.13611}, {4200, 2.783, 0.21560}, {4200, 3.285, 0.27797},
	{6200, 2.015, 0.18994}, {6200, 2.783, 0.30482}, {6200, 3.285, 0.38224},
}

// freeAir turns a volume flow at one atmosphere and the water's temperature
// into standard flow.
func freeAir(cm3S float64, t unit.Kelvin) unit.StdCubicMetersPerSecond {
	return unit.StdCubicMetersPerSecond(cm3S * 1e-6 * float64(unit.StandardTemperature) / float64(t))
}

func TestLiftTo_PromisedStaysBelowTheFluxesKobusMeasured(t *testing.T) {
	t.Parallel()
	var sum, sumClosed float64
	var n int
	for _, f := range kobusFluxes {
		lift, err := LiftTo(freeAir(f.airCM3S, seaLevel.Temperature), 4.5, unit.Meters(f.heightM), seaLevel)
		if err != nil {
			t.Fatal(err)
		}
		ratio := float64(lift.Promised) / f.waterM3S
		t.Logf("%5.0f cm³/s %.2f m: measured %.4f promised %.4f ratio %.2f, closed form %.2f", f.airCM3S, f.heightM, f.waterM3S, float64(lift.Promised), ratio, float64(lift.Upper)/f.waterM3S)
		if f.airCM3S < 400 || f.airCM3S > 2550 || f.heightM <= 1.2 {
			continue
		}
		n++
		sum += math.Log(ratio)
		// The share of the closed form by itself has to lie around the data.
		share := promisedShare * float64(lift.Upper) / f.waterM3S
		sumClosed += math.Log(share)
		if share < 0.75 || share > 1.3 {
			t.Errorf("%g cm³/s at %g m: 0.8 × closed form ÷ measured = %.3f, want 0.75 to 1.3", f.airCM3S, f.heightM, share)
		}
		if ratio < 0.5 || ratio > 1.1 {
			t.Errorf("%g cm³/s at %g m: promised ÷ measured = %.3f, want 0.5 to 1.1", f.airCM3S, f.heightM, ratio)
		}
	}
	mean, meanClosed := math.Exp(sum/float64(n)), math.Exp(sumClosed/float64(n))
	t.Logf("%d points from 400 to 2550 cm³/s above 1.2 m: geometric mean of promised ÷ measured %.3f, of 0.8 × closed form %.3f", n, mean, meanClosed)
	if n < 12 || mean < 0.6 || mean > 1 || meanClosed < 0.85 || meanClosed > 1.1 {
		t.Errorf("%d points, means %.3f and %.3f: want a dozen, and a promise below the measured", n, mean, meanClosed)
	}
}
