package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/air"
	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// Task is one step of the boat work, in the order in which to do it: the hoses of a
// station from left to right as seen from the mast, so that each is laid beside the
// one before and across none.
type Task struct {
	Station  int
	Diffuser int         // index in Plan.Diffusers
	Hose     unit.Meters // to lay
	Ballast  Ballast
	Text     unit.Text
}

// Ballast is what keeps a hose on the bed.
type Ballast struct {
	Lift unit.Newtons   // by which the hose under water, full of air, pulls up; below 0 it sinks
	Mass unit.Kilograms // of concrete, weighed dry, that holds it with its margin
	// Weights of equal mass, and how far apart they sit from the shore entry on.
	Weights int
	Apart   unit.Meters
}

// Of the ballast: judgement, no source, but the margin, which is common practice.
const (
	ballastMargin = 1.5
	weightMostKg  = 10.0
	weightsApartM = 5.0
)

// ballast holds down the part of a hose that lies in the water.
func (e Equipment) ballast(h Hose) (Ballast, error) {
	tube := air.Tube{Bore: h.Bore}
	for _, k := range e.kinds() {
		if k.Bore == h.Bore {
			tube.Wall, tube.Density = k.Wall, k.Density
		}
	}
	wet := h.Order - h.Trench - h.Riser
	up, err := tube.Uplift(wet)
	if err != nil {
		return Ballast{}, fmt.Errorf("ballast: %w", err)
	}
	b := Ballast{Lift: up, Mass: air.Concrete(up, ballastMargin)}
	if b.Mass > 0 {
		b.Weights = max(int(math.Ceil(float64(b.Mass)/weightMostKg)), int(math.Ceil(float64(h.Water)/weightsApartM)), 1)
		b.Apart = h.Water / unit.Meters(b.Weights)
	}
	return b, nil
}

// work lists the boat work.
func (p *Plan) work() {
	for k, st := range p.Stations {
		order := slices.Clone(st.Diffusers)
		turns := make(map[int][]float64, len(order))
		for _, i := range order {
			turns[i] = turnsOf(p.Diffusers[i].Hose.Route)
		}
		slices.SortStableFunc(order, func(a, b int) int { return slices.Compare(turns[a], turns[b]) })
		for n, i := range order {
			h := p.Diffusers[i].Hose
			t := Task{Station: k, Diffuser: i, Hose: h.Order - h.Trench - h.Riser, Ballast: h.Ballast}
			t.Text = unit.Say("Lay hose %d of %d of this station, %s from the shore entry to diffuser %d in %s of water",
				n+1, len(order), t.Hose.Distance(), i+1, p.Diffusers[i].Depth.Text())
			if t.Ballast.Weights > 0 {
				t.Text += unit.Say(", with %d weights of %s every %s", t.Ballast.Weights,
					(t.Ballast.Mass / unit.Kilograms(t.Ballast.Weights)).Text(), t.Ballast.Apart.Text())
			}
			if joints := p.joints(i); joints > 0 {
				t.Text += unit.Say("; joints in it: %d", joints)
			}
			t.Text += "."
			p.Tasks = append(p.Tasks, t)
		}
	}
}

// joints counts the joints of a run.
func (p *Plan) joints(diffuser int) int {
	n := -1
	for _, c := range p.Cuts {
		if c.Diffuser == diffuser {
			n++
		}
	}
	return max(n, 0)
}

// turnsOf returns how a way turns at each of its corners, clockwise from straight
// back, in radians: of two ways that run together and part, the one with the lesser
// turn there leaves to the left.
func turnsOf(way []plane.Point) []float64 {
	var out []float64
	for i := 1; i+1 < len(way); i++ {
		back, on := way[i-1].Sub(way[i]), way[i+1].Sub(way[i])
		turn := math.Mod(-math.Atan2(back.Cross(on), back.Dot(on))+2*math.Pi, 2*math.Pi)
		out = append(out, turn)
	}
	return out
}

// crossings lists the pairs of diffusers whose hoses cross in the water.
func (p *Plan) crossings() [][2]int {
	var out [][2]int
	for i, a := range p.Diffusers {
		for j := range i {
			if waysCross(a.Hose.Route[1:], p.Diffusers[j].Hose.Route[1:]) {
				out = append(out, [2]int{j, i})
			}
		}
	}
	slices.SortFunc(out, func(a, b [2]int) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	return out
}

// waysCross reports whether two ways cross somewhere between their corners.
func waysCross(a, b []plane.Point) bool {
	for i := 1; i < len(a); i++ {
		for j := 1; j < len(b); j++ {
			if crossing(a[i-1], a[i], b[j-1], b[j]) {
				return true
			}
		}
	}
	return false
}
