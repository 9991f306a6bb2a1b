package treat

import (
	"pondwright/calc/unit"
)

const (
	copperSource = "Watson & Yanong, University of Florida IFAS FA008"
	// copperInSulfate is the share of copper in copper sulfate pentahydrate,
	// 63.546/249.685.
	copperInSulfate    = 63.546 / 249.685
	minCopperAlkMGL    = 50
	maxCopperSulfate   = 2.5
	alkalinityPerLevel = 100
)

// CopperCeiling reports the greatest level of copper sulfate pentahydrate that
// water of a total alkalinity bears: alkalinity/100, at most 2.5 mg/L (FA008).
// It is a ceiling, not a rate. It returns a *Refusal without an alkalinity and
// below 50 mg/L as CaCO₃, and a *unit.RangeError above 2000 mg/L.
func CopperCeiling(alkalinity unit.MilligramsPerLiter) (unit.MilligramsPerLiter, error) {
	if alkalinity == 0 {
		return 0, &Refusal{Rule: NoAlkalinity, Remedy: "measure it", Source: copperSource}
	}
	if err := unit.CheckRange("alkalinity (mg/L as CaCO₃)", float64(alkalinity), 0, 2000, copperSource); err != nil {
		return 0, err
	}
	if alkalinity < minCopperAlkMGL {
		return 0, &Refusal{SoftWater, float64(alkalinity), minCopperAlkMGL, "mg/L as CaCO₃", "use no copper here", copperSource}
	}
	return min(alkalinity/alkalinityPerLevel, maxCopperSulfate), nil
}

// checkCopper refuses a level of copper above the ceiling.
func checkCopper(alkalinity unit.MilligramsPerLiter, copperMGL float64) error {
	sulfate, err := CopperCeiling(alkalinity)
	if err != nil {
		return err
	}
	// Labels round the share of copper: 25.5 % for 25.45 % is let pass.
	ceiling := float64(sulfate) * copperInSulfate
	if copperMGL > ceiling*1.0025 {
		return &Refusal{OverCopper, copperMGL, ceiling, "mg/L as copper", "lower the level", copperSource}
	}
	return nil
}
