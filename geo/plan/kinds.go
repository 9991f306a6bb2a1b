package plan

import (
	"cmp"
	"slices"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

// MaxKinds is among how many kinds of compressor a plan may choose.
const MaxKinds = 10

// Kind is a kind of compressor that is owned.
type Kind struct {
	Label string // what the owner calls it; may be empty
	Curve air.Curve
	Count int // 1 to MaxMachines
}

// each returns the equipment with one kind of compressor at a time, in the order
// given.
func (e Equipment) each() []Equipment {
	one := e
	one.OtherKinds = nil
	list := []Equipment{one}
	for _, k := range e.OtherKinds {
		one.Label, one.Compressor, one.Machines, one.CompressorDefault = k.Label, k.Curve, k.Count, false
		list = append(list, one)
	}
	return list
}

// reached is what one kind of compressor comes to.
type reached struct {
	pond  *Prepared
	kind  int // in the order given, from 1
	best  *fed
	meets int     // 0: the target is missed; 1: it is met; 2: and every basin has a diffuser
	perD  float64 // turnovers a day of the high volume, by which the target is judged
	drawW float64
}

// choose returns the pond with the kind of compressor that meets every target with the
// least electrical power, then the fewest machines, then the order given; where none
// meets them, with the one that comes nearest. It also says why. Kinds are weighed at the
// masts given, before another is proposed. Find returns a kind's best layout and may
// change the search.
func (p *Prepared) choose(find func(*search) (*fed, error)) (*Prepared, []Assumption, error) {
	if len(p.in.Equipment.OtherKinds) == 0 || p.s.field == nil {
		return p, nil, nil
	}
	var list []reached
	for i, e := range p.in.Equipment.each() {
		of, err := p.With(func(in *Input) { in.Equipment = e })
		if err != nil {
			return nil, nil, err
		}
		draft := of.s.withDrive(of.s.feeder.drive)
		best, err := find(draft)
		if err == nil && best != nil {
			best, err = draft.economize(best)
		}
		if err != nil {
			return nil, nil, err
		}
		list = append(list, draft.reached(of, i+1, best))
	}
	slices.SortStableFunc(list, func(a, b reached) int {
		if a.meets != b.meets {
			return b.meets - a.meets
		}
		nearest := 0
		if a.meets == 0 {
			nearest = cmp.Compare(b.perD, a.perD)
		}
		return cmp.Or(nearest, cmp.Compare(a.drawW, b.drawW), cmp.Compare(a.machines(), b.machines()))
	})
	var why []Assumption
	for i, r := range list {
		name, source := "compressor not taken", "worked out on sketched sites"
		if i == 0 {
			name, source = "compressor taken", [...]string{
				"none meets the target; this one comes nearest",
				"the least power of those that meet the turnovers; none serves every basin",
				"the least power of those that meet every target",
			}[r.meets]
		}
		why = append(why, Assumption{Name: name, Value: r.text(), Source: source})
	}
	return list[0].pond, why, nil
}

// reached weighs the best layout of a kind, nil where nothing can be fed.
func (s *search) reached(of *Prepared, kind int, best *fed) reached {
	r := reached{pond: of, kind: kind, best: best}
	if best == nil {
		return r
	}
	r.perD = float64(best.lift.Value) * float64(best.run) / float64(s.in.Survey.Volume.High)
	if s.meets(best) {
		r.meets = 1
		if complete(best.layout) {
			r.meets = 2
		}
	}
	d := s.feeder.drive
	if d == nil {
		d = &drive{power: Power{Efficiency: airShare}}
	}
	for _, g := range best.groups {
		w, _ := d.load(s.in.Equipment.Compressor, s.feeder.breathes, g.balance.Outlet, g.machines)
		r.drawW += float64(w)
	}
	return r
}

// machines are those that run, or all of the kind where none can.
func (r reached) machines() int {
	if r.best == nil {
		return r.pond.in.Equipment.Machines
	}
	return r.best.machines
}

func (r reached) text() unit.Text {
	e := r.pond.in.Equipment
	name := unit.Say("kind %d", r.kind)
	if e.Label != "" {
		name += unit.Say(" (%s)", e.Label)
	}
	name += unit.Say(", %d × a machine of %s at no pressure", r.machines(), e.freeAir().Text())
	if r.best == nil {
		return name + ": cannot open any diffuser"
	}
	return name + unit.Say(": %.2f turnovers a day of the %.2f asked for, %.0f W", r.perD, r.pond.in.Turnovers, r.drawW)
}
