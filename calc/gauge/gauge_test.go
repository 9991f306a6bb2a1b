package gauge

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pondwright/calc/unit"
)

func TestSlope_PublishedExample(t *testing.T) {
	t.Parallel()
	// Sen, J. Am. Stat. Assoc. 63, 1968, the worked example: slope 4; from memory.
	// The scatter of the same points is 1.4826 times the median of the distances
	// from the median of y − 4x, 6: 1, 1, 1, 2, 1, 1, 0.
	xs, ys := []float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}
	if got := slope(xs, ys); got != 4 {
		t.Errorf("slope %v", got)
	}
	if got := scatter(xs, ys, 4); math.Abs(got-1.4826) > 1e-12 {
		t.Errorf("scatter %v", got)
	}
}

// Up to a quarter of the readings may lie anywhere and the slope stays where the
// others put it (Theil–Sen breaks down at 29 %).
func TestSlope_OneInFourMayBeWrong(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(12, 40).Draw(t, "n")
		want := rapid.Float64Range(-3, 3).Draw(t, "slope")
		var xs, ys []float64
		for i := range n {
			y := want * float64(i)
			if i%4 == 1 {
				y = rapid.Float64Range(-1e4, 1e4).Draw(t, "wrong")
			}
			xs, ys = append(xs, float64(i)), append(ys, y)
		}
		if got := slope(xs, ys); math.Abs(got-want) > 1e-9 {
			t.Fatalf("slope %v, want %v", got, want)
		}
	})
}

var start = time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)

func day(d int) time.Time { return start.AddDate(0, 0, d) }

// season is a reading a week, varied.
func season(n int, vary func(i int, r *Reading)) []Reading {
	var out []Reading
	for i := range n {
		r := Reading{At: day(7 * i), Pressure: new(unit.PascalsGauge(45e3 + 300*float64(i%3-1))), Current: new(unit.Amperes(8 + 0.05*float64(i%2))),
			Boils: []Boil{{"D1", 2}, {"D2", 2}, {"D3", 2}}}
		vary(i, &r)
		out = append(out, r)
	}
	return out
}

func grow(by float64) func(int, *Reading) {
	return func(i int, r *Reading) { *r.Pressure += unit.PascalsGauge(by * float64(i)) }
}

func TestJudge(t *testing.T) {
	t.Parallel()
	commissioned := []Done{{start, Commissioned}}
	for _, c := range []struct {
		name   string
		rs     []Reading
		works  []Done
		limits Limits
		want   []Code
	}{
		{"nothing changes", season(20, grow(0)), commissioned, Limits{Pressure: 100e3}, nil},
		{"no reading", nil, commissioned, Limits{}, []Code{NotComparable}},
		{"all readings before commissioning", season(3, grow(0)), []Done{{day(100), Commissioned}}, Limits{}, []Code{NotComparable}},
		{"commissioning not recorded", season(20, grow(0)), nil, Limits{}, []Code{NotComparable}},
		{"diffusers foul", season(20, grow(500)), commissioned, Limits{}, []Code{PressureUp}},
		{"diffusers foul toward the relief", season(20, grow(500)), commissioned, Limits{Pressure: 70e3}, []Code{PressureUp, LimitNear}},
		{"a leak", season(20, grow(-500)), commissioned, Limits{}, []Code{PressureDown}},
		{"a worn machine", season(20, func(i int, r *Reading) { *r.Current += unit.Amperes(0.1 * float64(i)) }), commissioned, Limits{}, []Code{CurrentUp}},
		{"fouled and working harder", season(20, func(i int, r *Reading) { grow(500)(i, r); *r.Current += unit.Amperes(0.1 * float64(i)) }), commissioned, Limits{}, []Code{PressureUp, CurrentUp}},
		{"a hose off", season(20, func(i int, r *Reading) {
			if i == 19 {
				r.Boils = []Boil{{"D3", 0}, {"D1", 3}, {"D2", 3}}
			}
		}), commissioned, Limits{}, []Code{NoBoil}},
		{"one fouls first", season(20, func(i int, r *Reading) {
			if i == 19 {
				r.Boils[1].Seen = 1
			}
		}), commissioned, Limits{}, []Code{WeakBoil}},
		{"nothing comes up", season(20, func(i int, r *Reading) {
			if i > 16 {
				r.Boils = []Boil{{"D1", 0}, {"D2", 0}, {"D3", 0}}
				*r.Pressure += 20e3
			}
		}), commissioned, Limits{}, []Code{NoBoilAtAll, PressureUp}},
		{"one odd reading", season(20, func(i int, r *Reading) {
			if i == 19 {
				*r.Pressure += 30e3
			}
		}), commissioned, Limits{}, []Code{OddReading}},
		{"valves set anew", season(20, func(i int, r *Reading) {
			if i >= 10 {
				*r.Pressure += 15e3
			}
		}), append(commissioned, Done{day(70), Valve}), Limits{}, nil},
		{"cleaned", season(20, func(i int, r *Reading) { grow(500*float64(min(i, 12))/float64(max(i, 1))*btof(i < 13))(i, r) }), append(commissioned, Done{day(7 * 13), Diffuser}), Limits{}, nil},
		{"water rose", season(20, func(i int, r *Reading) {
			r.Level = new(unit.Meters(0.1 * float64(i)))
			*r.Pressure += unit.PascalsGauge(980.665 * float64(i)) // 1000 kg/m³ × g × 0.1 m
		}), commissioned, Limits{}, nil},
	} {
		r := Judge(c.rs, c.works, c.limits)
		var got []Code
		for _, f := range r.Findings {
			got = append(got, f.Code)
			if f.Text == "" || f.Do == "" {
				t.Errorf("%s: %s says nothing", c.name, f.Code)
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: %v, want %v\n%+v", c.name, got, c.want, r.Trends)
		}
		for _, trend := range r.Trends {
			if !(trend.Band > 0) || math.IsNaN(trend.PerMonth) || math.IsInf(trend.PerMonth, 0) {
				t.Errorf("%s: %+v", c.name, trend)
			}
		}
	}
}

func btof(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// A pressure that fell after it stood close to the relief valve's setting points at
// the valve; one that never did does not.
func TestJudge_NamesTheRelief(t *testing.T) {
	t.Parallel()
	for limit, want := range map[unit.PascalsGauge]bool{0: false, 48e3: true, 70e3: false} {
		r := Judge(season(20, grow(-500)), []Done{{start, Commissioned}}, Limits{Pressure: limit})
		if len(r.Findings) != 1 || r.Findings[0].Code != PressureDown || strings.Contains(r.Findings[0].Text, "relief") != want {
			t.Errorf("relief at %v: %+v", limit, r.Findings)
		}
	}
}

// The run without a boil is named.
func TestJudge_NamesTheRun(t *testing.T) {
	t.Parallel()
	rs := season(3, func(i int, r *Reading) {
		if i == 2 {
			r.Boils[2].Seen = 0
		}
	})
	r := Judge(rs, []Done{{start, Commissioned}}, Limits{})
	if len(r.Findings) != 1 || r.Findings[0].Label != "D3" {
		t.Errorf("findings %+v", r.Findings)
	}
}

// A rising pressure meets its limit when a straight line does: 500 Pa a week from
// 45 kPa reach 70 kPa in 50 weeks.
func TestJudge_WhenALimitIsMet(t *testing.T) {
	t.Parallel()
	rs := season(20, func(i int, r *Reading) { *r.Pressure = unit.PascalsGauge(45e3 + 500*float64(i)) })
	r := Judge(rs, []Done{{start, Commissioned}}, Limits{Pressure: 70e3})
	want := start.AddDate(0, 0, 7*51) // the middle of the last three lags a week behind
	if got := r.Trends[0].Reaches; got.Sub(want).Abs() > 24*time.Hour {
		t.Errorf("reaches %v, want %v", got, want)
	}
	if got := r.Trends[0].PerMonth; math.Abs(got-500*30.0/7) > 1e-6 {
		t.Errorf("per month %v", got)
	}
}

// Air at 47 °C is lighter than at 27 °C by 300/320: a machine of fixed volume moves
// that much less, and what it loses on the way falls with it.
func TestJudge_AirTemperature(t *testing.T) {
	t.Parallel()
	rs := []Reading{
		{At: day(0), Pressure: new(unit.PascalsGauge(40e3)), Air: new(unit.Kelvin(300))},
		{At: day(30), Pressure: new(unit.PascalsGauge(30e3 + 10e3*300.0/320)), Air: new(unit.Kelvin(320))},
	}
	r := Judge(rs, []Done{{start, Commissioned}}, Limits{Static: 30e3})
	if p := r.Trends[0].Points[1]; math.Abs(p.Value-40e3) > 1e-6 || !p.Corrected {
		t.Errorf("point %+v", p)
	}
}

// Readings may come in any order.
func TestJudge_OrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rs := season(12, grow(400))
		want := fmt.Sprintf("%+v", Judge(rs, nil, Limits{Pressure: 60e3}).Findings)
		mixed := rapid.Permutation(rs).Draw(t, "order")
		if got := fmt.Sprintf("%+v", Judge(mixed, nil, Limits{Pressure: 60e3}).Findings); got != want {
			t.Fatalf("%s\n%s", got, want)
		}
	})
}
