package survey_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/golang/geo/s2"
	"github.com/google/go-cmp/cmp"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
	"pondwright/geo/survey"
)

// outlined returns a shore with the given corners in meters about 38° N, 93° W.
func outlined(t testing.TB, corners ...plane.Point) *shore.Shore {
	t.Helper()
	frame := plane.NewFrame(s2.LatLngFromDegrees(38, -93))
	var ring []s2.LatLng
	for _, c := range corners {
		ring = append(ring, frame.ToLatLng(c))
	}
	s, err := shore.New(ring, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// armed is a pond of 200 m by 80 m with an arm of 70 m by 14 m north of its middle.
func armed(t testing.TB) *shore.Shore {
	return outlined(t, plane.Point{X: -100, Y: -40}, plane.Point{X: 100, Y: -40}, plane.Point{X: 100, Y: 40},
		plane.Point{X: 7, Y: 40}, plane.Point{X: 7, Y: 110}, plane.Point{X: -7, Y: 110}, plane.Point{X: -7, Y: 40}, plane.Point{X: -100, Y: 40})
}

func planned(t testing.TB, s *shore.Shore, spacing unit.Meters) *survey.TransectPlan {
	t.Helper()
	p, err := survey.PlanTransects(s, spacing)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestPlanTransects_UsualSpacing(t *testing.T) {
	t.Parallel()
	// One acre: a tenth of √4046.86 m² (common practice, no source); wider ponds 15 m.
	side := math.Sqrt(4046.8564224)
	acre := outlined(t, plane.Point{}, plane.Point{X: side * 1.25}, plane.Point{X: side * 1.25, Y: side * 0.8}, plane.Point{Y: side * 0.8})
	near(t, "spacing on an acre (m)", float64(planned(t, acre, 0).Chosen.Spacing), 6.36, 0.01)
	big := outlined(t, plane.Point{}, plane.Point{X: 400}, plane.Point{X: 400, Y: 200}, plane.Point{Y: 200})
	p := planned(t, big, 0)
	near(t, "spacing on 8 ha (m)", float64(p.Chosen.Spacing), 15, 1e-9)
	near(t, "interval (m)", float64(p.Interval), 15.0/4, 1e-9)
	across := 0
	for _, l := range p.Transects {
		if l.Purpose == survey.Across {
			across++
			if way := l.Points[0].Distance(l.Points[1]); math.Abs(way-198) > 0.5 {
				t.Errorf("%s is %.1f m long, want the width less a meter at each bank", l.Name, way)
			}
		}
	}
	if across != 27 { // 400 m in steps of 15
		t.Errorf("%d lines across, want 27", across)
	}
}

func TestPlanTransects_StaysInTheWaterAndEntersArms(t *testing.T) {
	t.Parallel()
	s := armed(t)
	frame, made := s.Frame(), plane.NewFrame(s2.LatLngFromDegrees(38, -93))
	for _, spacing := range []unit.Meters{8, 15, 30} {
		p := planned(t, s, spacing)
		deepest := math.Inf(-1)
		kinds := make(map[survey.Purpose]int)
		for _, l := range p.Transects {
			kinds[l.Purpose]++
			for k, at := range l.Points {
				if k > 0 && s.Crosses(l.Points[k-1], at) {
					t.Errorf("spacing %g: %s crosses the shore", float64(spacing), l.Name)
				}
				if y := made.ToPlane(frame.ToLatLng(at)).Y; l.Purpose == survey.Arm {
					deepest = max(deepest, y)
				}
			}
		}
		if deepest < 100 {
			t.Errorf("spacing %g: lines up arms reach %.0f m, want them near the arm's end at 110 m", float64(spacing), deepest)
		}
		for _, kind := range []survey.Purpose{survey.Across, survey.Axis, survey.Rim, survey.Arm, survey.Star} {
			if kinds[kind] == 0 {
				t.Errorf("spacing %g: no line of kind %s", float64(spacing), kind)
			}
		}
	}
}

// Wider lines cost less time; the table's own rows come back as they stand.
func TestPlanTransects_Choices(t *testing.T) {
	t.Parallel()
	p := planned(t, armed(t), 10)
	if len(p.Choices) != 5 || !slices.IsSortedFunc(p.Choices, func(a, b survey.Choice) int { return int(math.Copysign(1, float64(b.Spacing-a.Spacing))) }) {
		t.Fatalf("choices %+v", p.Choices)
	}
	for k := 1; k < len(p.Choices); k++ {
		if a, b := p.Choices[k-1], p.Choices[k]; b.Minutes <= a.Minutes || b.Error >= a.Error || b.Extrapolated {
			t.Errorf("from %+v to %+v", a, b)
		}
	}
	near(t, "error at 14 lines", p.Choices[2].Error, 0.0076, 1e-9)
	if c := planned(t, armed(t), 100).Chosen; !c.Extrapolated {
		t.Errorf("two lines across were never tested: %+v", c)
	}
	// Minutes are the way at 1.5 m/s and half a minute a line.
	near(t, "minutes", p.Chosen.Minutes, float64(p.Chosen.Way)/90+0.5*float64(p.Chosen.Lines), 1e-9)
}

func TestPlanTransects_DoesNotDependOnWhereTheRingBegins(t *testing.T) {
	t.Parallel()
	a := planned(t, outlined(t, plane.Point{}, plane.Point{X: 120}, plane.Point{X: 130, Y: 50}, plane.Point{Y: 60}), 12)
	b := planned(t, outlined(t, plane.Point{X: 130, Y: 50}, plane.Point{Y: 60}, plane.Point{}, plane.Point{X: 120}), 12)
	if diff := cmp.Diff(a.Chosen, b.Chosen); diff != "" {
		t.Error(diff)
	}
}

func TestPlanTransects_RefusesSpacings(t *testing.T) {
	t.Parallel()
	for _, spacing := range []unit.Meters{0.5, 501, -1, unit.Meters(math.NaN())} {
		var bad *unit.RangeError
		if _, err := survey.PlanTransects(armed(t), spacing); !errors.As(err, &bad) {
			t.Errorf("spacing %g: %v, want a range error", float64(spacing), err)
		}
	}
}
