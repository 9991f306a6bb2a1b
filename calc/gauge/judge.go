package gauge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"pondwright/calc/unit"
)

// Judge compares readings with those at commissioning: the readings of the first
// week, at most five, after the last work that sets the normal anew, or the first
// readings of all where no such work is on record. Readings may come in any order.
func Judge(readings []Reading, works []Done, limits Limits) Report {
	rs := slices.Clone(readings)
	slices.SortStableFunc(rs, func(a, b Reading) int { return a.At.Compare(b.At) })
	var r Report
	r.From = normalFrom(works)
	i := slices.IndexFunc(rs, func(x Reading) bool { return !x.At.Before(r.From) })
	if len(rs) == 0 || i < 0 {
		r.Findings = append(r.Findings, Finding{Code: NotComparable, Text: "There is no reading since commissioning.", Do: "Read pressure, amps and every boil while it runs."})
		return r
	}
	rs = rs[i:]
	if r.From.IsZero() {
		r.Findings = append(r.Findings, Finding{Code: NotComparable, Text: "No commissioning is on record: the first readings stand for it.",
			Do: "Record the day on which the valves were set."})
	}
	cleaned := lastOf(works, Filter, Diffuser, Hose)
	pressure := trendOf(Pressure, rs, cleaned, float64(limits.Pressure), func(x Reading) (Point, bool) { return pressurePoint(x, rs[0], limits.Static) })
	current := trendOf(Current, rs, cleaned, float64(limits.Current), currentPoint)
	for _, t := range []Trend{pressure, current} {
		if t.Readings > 0 {
			r.Trends = append(r.Trends, t)
		}
	}
	r.Findings = append(r.Findings, boils(rs, pressure)...)
	r.Findings = append(r.Findings, causes(pressure, current, limits)...)
	r.Findings = append(r.Findings, near(pressure, limits)...)
	r.Findings = append(r.Findings, odd(pressure, current)...)
	return r
}

// normalFrom returns when the normal was set last.
func normalFrom(works []Done) time.Time { return lastOf(works, Commissioned, Valve, Compressor) }

// lastOf returns the time of the last of some works, zero for none.
func lastOf(works []Done, of ...Work) time.Time {
	var last time.Time
	for _, d := range works {
		if slices.Contains(of, d.Work) && d.At.After(last) {
			last = d.At
		}
	}
	return last
}

// pressurePoint brings a pressure to the water level and air temperature of the
// first reading. A machine that moves a fixed volume moves mass as 1/T, and what
// hose and diffuser lose goes with it; the water over the diffuser does not.
func pressurePoint(x, first Reading, static unit.PascalsGauge) (Point, bool) {
	if x.Pressure == nil {
		return Point{}, false
	}
	p := Point{At: x.At, Value: float64(*x.Pressure)}
	head := float64(static)
	if x.Level != nil && first.Level != nil {
		rise := waterKgM3 * unit.GravityMPS2 * float64(*x.Level-*first.Level)
		p.Value, p.Corrected = p.Value-rise, rise != 0
	}
	if x.Air != nil && first.Air != nil && static > 0 && p.Value > head && *first.Air > 0 && *x.Air > 0 {
		lost := p.Value - head
		p.Value = head + lost*float64(*x.Air / *first.Air)
		p.Corrected = p.Corrected || *x.Air != *first.Air
	}
	return p, true
}

func currentPoint(x Reading) (Point, bool) {
	if x.Current == nil {
		return Point{}, false
	}
	return Point{At: x.At, Value: float64(*x.Current)}, true
}

// trendOf makes the trend of one quantity. Its slope is that since the equipment
// was last cleaned or mended.
func trendOf(q Quantity, rs []Reading, cleaned time.Time, limit float64, at func(Reading) (Point, bool)) Trend {
	t := Trend{Quantity: q}
	for _, x := range rs {
		if p, ok := at(x); ok {
			t.Points = append(t.Points, p)
		}
	}
	t.Readings = len(t.Points)
	if t.Readings == 0 {
		return t
	}
	var normal, last, xs, ys []float64
	for _, p := range t.Points {
		if p.At.Sub(t.Points[0].At) <= normalSpan && len(normal) < normalMost {
			normal = append(normal, p.Value)
		}
		if !p.At.Before(cleaned) {
			xs, ys = append(xs, p.At.Sub(t.Points[0].At).Seconds()), append(ys, p.Value)
		}
	}
	last = values(t.Points[max(0, t.Readings-lastCount):])
	if late := values(after(t.Points, cleaned)); len(late) > 0 {
		last = late[max(0, len(late)-lastCount):]
	}
	t.Normal, t.Now = median(normal), median(last)
	s := slope(xs, ys)
	t.PerMonth = s * monthS
	t.Band = max(leastChange*math.Abs(t.Normal), bandSigmas*scatter(xs, ys, s))
	if ahead := (limit - t.Now) / s; limit > 0 && s > 0 && ahead >= 0 && ahead <= yearS && t.Changed() > 0 {
		t.Reaches = t.Points[t.Readings-1].At.Add(time.Duration(ahead * float64(time.Second)))
	}
	return t
}

func after(ps []Point, from time.Time) []Point {
	i := slices.IndexFunc(ps, func(p Point) bool { return !p.At.Before(from) })
	if i < 0 {
		return nil
	}
	return ps[i:]
}

func values(ps []Point) []float64 {
	out := make([]float64, len(ps))
	for i, p := range ps {
		out[i] = p.Value
	}
	return out
}

// causes says what usually lies behind a change of pressure or current.
func causes(pressure, current Trend, limits Limits) []Finding {
	var out []Finding
	up, down := pressure.Changed() > 0, pressure.Changed() < 0
	switch {
	case up:
		out = append(out, Finding{Code: PressureUp, Text: "Pressure is " + percent(pressure) + " above commissioning: diffusers fouled, or a valve or hose partly shut.",
			Do: "Look which boils are weak; bleed the air, then clean those diffusers or open their valves."})
	case down && nearOnce(pressure, limits):
		out = append(out, Finding{Code: PressureDown, Text: "Pressure is " + percent(pressure) + " below commissioning, and it stood close to the relief valve's setting before: the valve has not closed again, or a hose has given way.",
			Do: "Listen at the relief valve while it runs; switch off and bleed before opening anything, then look for bubbles along the hoses."})
	case down:
		out = append(out, Finding{Code: PressureDown, Text: "Pressure is " + percent(pressure) + " below commissioning: a leak, a hose off, or a worn machine.",
			Do: "Look for bubbles along the hoses and at the manifold, and for a boil where no diffuser stands; feel the intake filter."})
	}
	switch c := current.Changed(); {
	case c > 0 && up:
		out = append(out, Finding{Code: CurrentUp, Text: "Current is " + percent(current) + " above commissioning, as it must be with the pressure.", Do: "See to the pressure first."})
	case c > 0:
		out = append(out, Finding{Code: CurrentUp, Text: "Current is " + percent(current) + " above commissioning while the pressure is not: wear in the machine, or low voltage.",
			Do: "Read the voltage at the machine; have bearings, seals and valves looked at by somebody licensed for it, power off."})
	case c < 0 && !down:
		out = append(out, Finding{Code: CurrentDown, Text: "Current is " + percent(current) + " below commissioning while the pressure is not.", Do: "Read it again with another meter."})
	}
	return out
}

// nearOnce reports whether a pressure ever stood close to its limit.
func nearOnce(pressure Trend, limits Limits) bool {
	least := nearShare * float64(limits.Pressure)
	return least > 0 && slices.ContainsFunc(pressure.Points, func(p Point) bool { return p.Value >= least })
}

func percent(t Trend) string { return fmt.Sprintf("%.0f %%", 100*math.Abs(t.Changed())) }

// boils judges what the newest reading with boils saw, against the first with each.
func boils(rs []Reading, pressure Trend) []Finding {
	i := lastWithBoils(rs)
	if i < 0 {
		return nil
	}
	now := slices.Clone(rs[i].Boils)
	slices.SortStableFunc(now, func(a, b Boil) int { return cmp.Compare(a.Label, b.Label) })
	var none []string
	for _, b := range now {
		if b.Seen == 0 {
			none = append(none, b.Label)
		}
	}
	if len(none) == len(now) && len(now) > 1 {
		text, do := "Nothing boils anywhere, and the pressure does not tell why.", "See that it runs; then look at the main valve and the feeder."
		switch {
		case pressure.Changed() > 0:
			text, do = "Nothing boils anywhere and the pressure is up: a valve is shut or the feeder is blocked.", "Switch off and bleed before opening anything."
		case pressure.Changed() < 0:
			text, do = "Nothing boils anywhere and the pressure is down: the feeder is off or the machine gives no air.", "Switch off; look at the feeder, the relief and the intake filter."
		}
		return []Finding{{Code: NoBoilAtAll, Text: text, Do: do}}
	}
	var out []Finding
	for _, b := range now {
		first, known := firstBoil(rs[:i], b.Label)
		switch {
		case b.Seen == 0:
			out = append(out, Finding{Code: NoBoil, Label: b.Label, Text: "No boil at " + b.Label + ": its run carries no air.",
				Do: "Look at that run's valve, then for its hose off or kinked; the others get its air and may be over their share."})
		case known && b.Seen < first && b.Seen < 2:
			out = append(out, Finding{Code: WeakBoil, Label: b.Label, Text: "The boil at " + b.Label + " is weaker than at commissioning.",
				Do: "Look at that run's valve; then lift and clean its diffuser."})
		}
	}
	return out
}

func lastWithBoils(rs []Reading) int {
	for i, r := range slices.Backward(rs) {
		if len(r.Boils) > 0 {
			return i
		}
	}
	return -1
}

func firstBoil(rs []Reading, label string) (seen int, known bool) {
	for _, r := range rs {
		for _, b := range r.Boils {
			if b.Label == label {
				return b.Seen, true
			}
		}
	}
	return 0, false
}

// near warns of a limit that the pressure is close to or will soon meet.
func near(pressure Trend, limits Limits) []Finding {
	switch {
	case limits.Pressure <= 0 || pressure.Readings == 0:
		return nil
	case pressure.Now >= nearShare*float64(limits.Pressure):
		return []Finding{{Code: LimitNear, Text: fmt.Sprintf("Pressure stands at %.0f %% of the relief valve's setting.", 100*pressure.Now/float64(limits.Pressure)),
			Do: "Switch off, bleed, and find what holds the air back before it runs again."}}
	case !pressure.Reaches.IsZero():
		return []Finding{{Code: LimitNear, Text: "At this rate the pressure meets the relief valve's setting about " + pressure.Reaches.Format("2 January 2006") + ".", Do: "Clean the diffusers before."}}
	}
	return nil
}

// odd points at a last reading that stands far off the others.
func odd(trends ...Trend) []Finding {
	var out []Finding
	for _, t := range trends {
		if t.Readings < 2 {
			continue
		}
		last := t.Points[t.Readings-1]
		if d := math.Abs(last.Value - t.Now); d > oddSigmas/bandSigmas*t.Band {
			out = append(out, Finding{Code: OddReading, Text: "The last reading of " + string(t.Quantity) + " stands far off those before it.", Do: "Read it again; if it holds, act at once."})
		}
	}
	return out
}
