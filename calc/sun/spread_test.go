package sun

import (
	"math"
	"testing"
)

// TestSpreadDays: a month of clearness 0.5 has its brightest day at 0.764618, an
// exponent of 2.31423 and twenty days that average 0.50173 (Duffie and Beckman,
// 5th ed., eqs. 2.9.4 to 2.9.6, recomputed).
func TestSpreadDays(t *testing.T) {
	t.Parallel()
	const top, gamma = 0.764618, 2.31423
	spread := spreadDays(0.5)
	sum := 0.0
	for i, k := range spread {
		sum += k / clearDays
		f := (float64(i) + 0.5) / clearDays
		want := math.Log((1-f)*math.Exp(gamma*duskClearness)+f*math.Exp(gamma*top)) / gamma
		if math.Abs(k-want) > 1e-5 {
			t.Errorf("day %d: %.6f, want %.6f", i, k, want)
		}
	}
	if math.Abs(sum-0.50173) > 1e-5 {
		t.Errorf("mean %.5f, want 0.50173", sum)
	}
}
