package plan

import (
	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/site"
)

// Patches cuts the input's water for the search of sites.
func (in Input) Patches() []site.Cell { return in.patches() }

// Coarse returns the input with few patches, quick to choose among.
func (in Input) Coarse() Input {
	in.mostPatches = 900
	return in
}

// Fine is the way back.
func (in Input) Fine() Input {
	in.mostPatches = 0
	return in
}

// CutHose makes the cut list anew from the coils on hand.
func (p *Plan) CutHose(own []Coil) { p.cut(own) }

// Sites returns the sketched sites of n diffusers, fewer where they do not fit.
func (p *Prepared) Sites(n int) []plane.Point {
	var out []plane.Point
	for ; n > 0 && out == nil; n-- {
		l, _ := p.s.field.Sketch(n)
		for _, s := range l.Sites {
			out = append(out, s.At)
		}
	}
	return out
}

// Held finds the best layout as if machines ran so long whatever their load, and
// returns the run that its load then has, and the turnovers in that.
func (p *Prepared) Held(run unit.Seconds) (unit.Seconds, float64, error) {
	hours := wholeDay()
	for i := range hours {
		hours[i] = run
	}
	d := p.s.feeder.drive
	best, err := p.s.withDrive(d.holding(hours)).best(p.in.Equipment.Machines)
	if err != nil || best == nil {
		return 0, 0, err
	}
	best.load = 0
	if err := p.s.feeder.timeRun(best); err != nil {
		return 0, 0, err
	}
	return best.run, p.in.turnovers(best.lift, best.run).Value, nil
}
