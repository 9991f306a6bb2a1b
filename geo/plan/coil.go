package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"pondwright/calc/unit"
)

// HoseKind is a kind of hose that may be laid.
type HoseKind struct {
	Bore unit.Meters // inside diameter, 2 to 200 mm
	// Wall thickness; 0 takes that of air.UsualWall.
	Wall unit.Meters
	// Density of the wall; 0 takes that of polyethylene.
	Density unit.KilogramsPerCubicMeter
	// PricePerMeter in the user's own money; 0: not known.
	PricePerMeter float64
}

// Coil is hose of one length.
type Coil struct {
	Bore   unit.Meters
	Length unit.Meters // 1 to 5000 m
	Count  int         // coils of that length, at most 1000; 0 means 1
}

// Sharing says whether the runs of a station share a trunk through the trench.
type Sharing string

// How runs share hose. The zero value is ByCost.
const (
	ByCost   Sharing = ""         // whichever costs less; a trunk needs a wider hose than the runs
	Separate Sharing = "SEPARATE" // every run has a hose of its own from the mast
	Shared   Sharing = "SHARED"   // a trunk to a valve box at the shore entry
)

// TrunkCut marks a cut that is for a station's trunk, in the place of a diffuser.
const TrunkCut = -1

// Cut is one piece of hose cut from a coil for a run.
type Cut struct {
	Coil     int         // number of the coil, from 1
	CoilLong unit.Meters // before anything was cut from it
	Bore     unit.Meters
	Station  int         // index in Plan.Stations
	Diffuser int         // index in Plan.Diffusers, or TrunkCut
	Length   unit.Meters // of this piece
	Piece    int         // of its run, from 1 at the mast: piece 2 is joined to piece 1
	Left     unit.Meters // on the coil after this cut
	Owned    bool        // the coil is on hand; else it is to be bought
}

// usualCoils are the lengths in which hose is sold: 100, 300 and 500 ft, common
// practice, no source.
func usualCoils() []unit.Meters { return []unit.Meters{unit.Feet(100), unit.Feet(300), unit.Feet(500)} }

// sameBoreM is how far two bores may differ and still be one hose.
const sameBoreM = 2e-4

// run is a length of hose to be cut.
type run struct {
	station, diffuser int
	bore              unit.Meters
	longM             float64
	wholeM            float64 // from its start on, in which no joint may lie
}

// coil is a coil that is being cut.
type coil struct {
	number      int
	boreM       float64
	longM, left float64
	owned       bool
}

// edgeM is how far past the shore entry a joint must lie, to be under water whenever
// the run is: judgement, no source.
const edgeM = 3

// cutter cuts runs from coils: first from those on hand, the longest runs first,
// each from the shortest rest that is long enough; a run longer than every rest is
// joined from the longest ones. No joint lies in the trench or at the water's edge,
// unless no coil sold reaches past them.
type cutter struct {
	coils []*coil
	cuts  []Cut
	short []run // that the coils on hand did not suffice for, by what is missing
}

// cut makes the cut list of a plan, and reports what is missing on hand.
func (p *Plan) cut(own []Coil) (short []run) {
	c := new(cutter)
	for _, o := range own {
		for range max(o.Count, 1) {
			c.add(float64(o.Bore), float64(o.Length), true)
		}
	}
	runs := p.runs()
	slices.SortStableFunc(runs, func(a, b run) int { return cmp.Compare(b.longM, a.longM) })
	for _, r := range runs {
		c.take(r, len(own) > 0)
	}
	p.Cuts = c.cuts
	slices.SortStableFunc(p.Cuts, func(a, b Cut) int {
		return cmp.Or(cmp.Compare(a.Coil, b.Coil), -cmp.Compare(a.Left, b.Left))
	})
	p.Buy = c.bought()
	return c.short
}

// runs lists the hoses of a plan.
func (p *Plan) runs() []run {
	var out []run
	for k, st := range p.Stations {
		if st.Trunk != nil {
			out = append(out, run{k, TrunkCut, st.Trunk.Bore, float64(st.Trunk.Order), float64(st.Trunk.Order)})
		}
	}
	for i, d := range p.Diffusers {
		h := d.Hose
		out = append(out, run{d.Station, i, h.Bore, float64(h.Order), min(float64(h.Riser+h.Trench)+edgeM, float64(h.Order))})
	}
	return out
}

func (c *cutter) add(boreM, longM float64, owned bool) *coil {
	n := &coil{number: len(c.coils) + 1, boreM: boreM, longM: longM, left: longM, owned: owned}
	c.coils = append(c.coils, n)
	return n
}

// take cuts one run.
func (c *cutter) take(r run, onHand bool) {
	needM, piece := r.longM, 1
	for needM > 1e-9 {
		wholeM := r.wholeM - (r.longM - needM)
		from := c.best(r, needM, wholeM)
		if sold := usualCoils(); from == nil && wholeM > float64(sold[len(sold)-1]) {
			from = c.best(r, needM, 0)
		}
		if from == nil {
			if onHand {
				c.lack(r, needM)
			}
			from = c.buy(float64(r.bore), needM)
		}
		m := min(needM, from.left)
		from.left -= m
		needM -= m
		c.cuts = append(c.cuts, Cut{
			Coil: from.number, CoilLong: unit.Meters(from.longM), Bore: r.bore, Station: r.station, Diffuser: r.diffuser,
			Length: unit.Meters(m), Piece: piece, Left: unit.Meters(from.left), Owned: from.owned,
		})
		piece++
	}
}

// lack notes what a run misses on hand, once.
func (c *cutter) lack(r run, needM float64) {
	for _, s := range c.short {
		if s.station == r.station && s.diffuser == r.diffuser {
			return
		}
	}
	r.longM = needM
	c.short = append(c.short, r)
}

// leastPieceM is the shortest rest worth joining: judgement, no source.
const leastPieceM = 10

// best returns the coil to cut from: the shortest rest that is long enough, else
// the longest rest worth joining that reaches over the wholeM left without a joint,
// nil when there is none.
func (c *cutter) best(r run, needM, wholeM float64) *coil {
	var fits, longest *coil
	for _, k := range c.coils {
		if math.Abs(k.boreM-float64(r.bore)) > sameBoreM {
			continue
		}
		if k.left >= needM-1e-9 && (fits == nil || k.left < fits.left) {
			fits = k
		}
		if k.owned && k.left >= max(leastPieceM, wholeM) && (longest == nil || k.left > longest.left) {
			longest = k
		}
	}
	if fits != nil {
		return fits
	}
	return longest
}

// buy adds the shortest coil sold that is long enough, or the longest.
func (c *cutter) buy(boreM, needM float64) *coil {
	sold := usualCoils()
	for _, m := range sold {
		if float64(m) >= needM-1e-9 {
			return c.add(boreM, float64(m), false)
		}
	}
	return c.add(boreM, float64(sold[len(sold)-1]), false)
}

// bought counts the coils to buy, by bore and length.
func (c *cutter) bought() []Coil {
	var out []Coil
	for _, k := range c.coils {
		if k.owned {
			continue
		}
		i := slices.IndexFunc(out, func(o Coil) bool { return float64(o.Bore) == k.boreM && float64(o.Length) == k.longM })
		if i < 0 {
			i = len(out)
			out = append(out, Coil{Bore: unit.Meters(k.boreM), Length: unit.Meters(k.longM)})
		}
		out[i].Count++
	}
	slices.SortFunc(out, func(a, b Coil) int {
		return cmp.Or(cmp.Compare(a.Bore, b.Bore), cmp.Compare(a.Length, b.Length))
	})
	return out
}

// buried lists the runs that have a joint where none should be.
func (p *Plan) buried() []string {
	var out []string
	for _, r := range p.runs() {
		var ends []Cut
		for _, c := range p.Cuts {
			if c.Station == r.station && c.Diffuser == r.diffuser {
				ends = append(ends, c)
			}
		}
		slices.SortFunc(ends, func(a, b Cut) int { return cmp.Compare(a.Piece, b.Piece) })
		if len(ends) > 1 && float64(ends[0].Length) < r.wholeM-1e-9 {
			out = append(out, r.title())
		}
	}
	return out
}

// title names a run for people.
func (r run) title() string {
	if r.diffuser == TrunkCut {
		return fmt.Sprintf("the trunk of station %d", r.station+1)
	}
	return fmt.Sprintf("run %d", r.diffuser+1)
}
