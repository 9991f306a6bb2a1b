package plan

import (
	"fmt"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
	"pondwright/geo/route"
)

// zoneRule is what a kind of zone forbids.
type zoneRule struct {
	marginM    float64 // kept off its edge; judgement, no source
	laying     bool    // no hose and no trench
	mast       bool    // no mast
	areaOnly   bool    // a line does not tell where it ends
	crossNamed bool    // a hose or trench that crosses it is named
}

var zoneRules = map[ZoneKind]zoneRule{
	DamZone:        {marginM: 3, laying: true, mast: true, areaOnly: true},
	SpillwayZone:   {marginM: 3, laying: true, mast: true, areaOnly: true},
	KeepOutZone:    {laying: true, mast: true},
	IntakeZone:     {marginM: 6, laying: true, mast: true},
	ObstacleZone:   {marginM: 2, laying: true, mast: true},
	AccessZone:     {mast: true, crossNamed: true},
	BuriedLineZone: {marginM: 2, mast: true, crossNamed: true},
	MuckZone:       {mast: true, areaOnly: true},
	PropertyZone:   {areaOnly: true},
}

// DefaultMargin is what is kept off the edge of a zone of a kind where nobody
// gave another margin: judgement, no source.
func DefaultMargin(k ZoneKind) unit.Meters { return unit.Meters(zoneRules[k].marginM) }

// ground is the zones in the pond's plane.
type ground struct {
	zones    []place
	barriers []route.Barrier
	dam      bool // a dam is drawn
}

// place is a checked zone in the plane.
type place struct {
	Drawn
	zoneRule
}

// survey puts the zones and bans of an input into the plane. It returns a
// *ZoneError.
func (in Input) ground() (*ground, error) {
	g := new(ground)
	property := 0
	for i, z := range in.Zones {
		p, reason := in.place(z)
		if z.Kind == PropertyZone {
			if property++; property > 1 {
				reason = "is the second outline of the property: draw one round all of it"
			}
		}
		if reason != "" {
			return nil, &ZoneError{Zone: i, Kind: z.Kind, Name: z.Name, Reason: reason}
		}
		g.zones = append(g.zones, p)
		g.dam = g.dam || z.Kind == DamZone
		switch {
		case z.Kind == PropertyZone:
			g.barriers = append(g.barriers, route.Barrier{Ring: p.Points, Margin: unit.Meters(p.marginM), Inside: true})
		case p.laying:
			g.barriers = append(g.barriers, p.barriers()...)
		}
	}
	return g, nil
}

func (in Input) place(z Zone) (place, string) {
	rule, known := zoneRules[z.Kind]
	switch {
	case !known:
		return place{}, "is of no known kind"
	case rule.areaOnly && !z.Area:
		return place{}, "is a line or a point: draw it as an area, a dam with its toe"
	case z.Area && len(z.Points) < 3, len(z.Points) == 0:
		return place{}, "has too few corners"
	case !(z.Margin >= 0 && z.Margin <= 1000):
		return place{}, "has a margin that is not between 0 and 1000 m"
	}
	if z.Margin > 0 {
		rule.marginM = float64(z.Margin)
	}
	p := place{Drawn: Drawn{Kind: z.Kind, Name: z.Name, Area: z.Area}, zoneRule: rule}
	frame := in.Shore.Frame()
	for _, ll := range z.Points {
		if !ll.IsValid() {
			return place{}, "has a corner that is no position"
		}
		p.Points = append(p.Points, frame.ToPlane(ll))
	}
	if n := len(p.Points); z.Area && p.Points[0].Distance(p.Points[n-1]) < 1e-6 {
		p.Points = p.Points[:n-1]
	}
	if z.Area && (len(p.Points) < 3 || math.Abs(plane.RingArea(p.Points)) < 1e-6) {
		return place{}, "has no area"
	}
	return p, ""
}

// barriers are what a hose goes round: the area, or a strip about each side of a
// line, or a round about a point.
func (p *place) barriers() []route.Barrier {
	if p.Area {
		return []route.Barrier{{Ring: p.Points, Margin: unit.Meters(p.marginM)}}
	}
	// Strips of no width are no rings: the margin is drawn in part.
	halfM := max(p.marginM/2, 0.05)
	rest := unit.Meters(max(p.marginM-halfM, 0))
	if len(p.Points) == 1 {
		return []route.Barrier{{Ring: square(p.Points[0], p.Points[0], halfM), Margin: rest}}
	}
	var out []route.Barrier
	for i := 1; i < len(p.Points); i++ {
		out = append(out, route.Barrier{Ring: square(p.Points[i-1], p.Points[i], halfM), Margin: rest})
	}
	return out
}

// square returns the rectangle that lies halfM about the segment ab.
func square(a, b plane.Point, halfM float64) []plane.Point {
	along := plane.Point{X: 1}
	if d := b.Sub(a); d.Norm() > 0 {
		along = d.Scale(1 / d.Norm())
	}
	u, v := along.Scale(halfM), plane.Point{X: -along.Y, Y: along.X}.Scale(halfM)
	return []plane.Point{a.Sub(u).Sub(v), b.Add(u).Sub(v), b.Add(u).Add(v), a.Sub(u).Add(v)}
}

// distanceM is how far q lies from the zone: zero within an area.
func (p *place) distanceM(q plane.Point) float64 {
	if p.Area && plane.RingContains(p.Points, q) {
		return 0
	}
	n := len(p.Points)
	best := q.Distance(p.Points[0])
	for i := range n {
		if i+1 == n && !p.Area {
			break
		}
		d, _ := plane.SegmentDistance(q, p.Points[i], p.Points[(i+1)%n])
		best = min(best, d)
	}
	return best
}

// holds reports whether q lies where the zone has its say: within its margin, or
// for the property outside of it.
func (p *place) holds(q plane.Point) bool {
	if p.Kind == PropertyZone {
		return !plane.RingContains(p.Points, q)
	}
	d := p.distanceM(q)
	return d < p.marginM || d == 0
}

// meets reports whether the way comes into the zone's area or across its line.
func (p *place) meets(way []plane.Point) bool {
	for i := 1; i < len(way); i++ {
		a, b := way[i-1], way[i]
		if p.Area && plane.RingContains(p.Points, a) {
			return true
		}
		for k := range p.Points {
			if k+1 == len(p.Points) && !p.Area {
				break
			}
			if crossing(a, b, p.Points[k], p.Points[(k+1)%len(p.Points)]) {
				return true
			}
		}
	}
	return false
}

// crossing reports whether segments ab and cd cross.
func crossing(a, b, c, d plane.Point) bool {
	return plane.Orient(a, b, c)*plane.Orient(a, b, d) < 0 && plane.Orient(c, d, a)*plane.Orient(c, d, b) < 0
}

// bars returns the zone that forbids a diffuser at q, nil if none does.
func (g *ground) bars(q plane.Point) *place {
	for i := range g.zones {
		if g.zones[i].holds(q) {
			return &g.zones[i]
		}
	}
	return nil
}

// forbids returns the zone in which no mast may stand at q, nil if there is none.
func (g *ground) forbids(q plane.Point) *place {
	for i := range g.zones {
		if z := &g.zones[i]; (z.mast || z.Kind == PropertyZone) && z.holds(q) {
			return z
		}
	}
	return nil
}

// title names a zone for people.
func (p *place) title() string {
	if p.Name != "" {
		return fmt.Sprintf("%s %q", zoneWords[p.Kind], p.Name)
	}
	return zoneWords[p.Kind]
}

var zoneWords = map[ZoneKind]string{
	DamZone: "the dam", SpillwayZone: "the spillway", KeepOutZone: "the keep-out area", IntakeZone: "the intake",
	ObstacleZone: "the obstacle", AccessZone: "the access", BuriedLineZone: "the buried line", MuckZone: "deep muck",
	PropertyZone: "the property's limit",
}

// MastZoneError tells that a mast stands where none may.
type MastZoneError struct {
	Station int // index; 0 is Input.Mast
	Kind    ZoneKind
	Zone    string // in words
}

// Error names the station and the zone.
func (e *MastZoneError) Error() string {
	if e.Kind == PropertyZone {
		return fmt.Sprintf("mast %d stands outside the property", e.Station+1)
	}
	return fmt.Sprintf("mast %d stands on %s", e.Station+1, e.Zone)
}

// PinError tells that a diffuser cannot stand where it was put.
type PinError struct {
	Pin int // index as given
	Err error
}

// Error names the diffuser and the reason.
func (e *PinError) Error() string { return fmt.Sprintf("diffuser put at place %d: %v", e.Pin+1, e.Err) }

// Unwrap returns the reason: site.ErrSiteAshore, route.ErrBarred, or another of
// package route.
func (e *PinError) Unwrap() error { return e.Err }

// checkMast returns a *MastZoneError for a mast where none may stand.
func (g *ground) checkMast(station int, mast plane.Point) error {
	if z := g.forbids(mast); z != nil {
		return &MastZoneError{Station: station, Kind: z.Kind, Zone: z.title()}
	}
	return nil
}

// drawn returns the zones for the plan.
func (g *ground) drawn() []Drawn {
	var out []Drawn
	for _, z := range g.zones {
		d := z.Drawn
		d.Points = slices.Clone(d.Points)
		out = append(out, d)
	}
	return out
}

// assumeGround lists what is not known of the ground.
func (in Input) assumeGround(add func(name string, isDefault bool, source, format string, args ...any)) {
	dam := slices.ContainsFunc(in.Zones, func(z Zone) bool { return z.Kind == DamZone })
	switch {
	case dam:
		add("dam", false, "as drawn", "nothing is put or dug on it or on its toe")
	case in.NoDam:
		add("dam", false, "as answered", "there is none")
	default:
		add("dam", true, "nobody drew one or said that there is none", "not known")
	}
}

// remark says what the zones ask of this plan.
func (g *ground) remark(p *Plan, noDam bool, add func(code, format string, args ...any)) {
	if !g.dam && !noDam {
		add("DAM_UNKNOWN", "Not for construction: nobody drew the dam with its toe and spillway, or said that there is none. No footing, trench, sleeve or truck goes on a dam.")
	}
	for i := range g.zones {
		z := &g.zones[i]
		if !z.crossNamed {
			continue
		}
		for k, st := range p.Stations {
			if z.meets(st.Trench) {
				add("TRENCH_CROSSES", "The trench of station %d crosses %s: have it located, dig there by hand and sleeve the hose.", k+1, z.title())
			}
		}
		for k, d := range p.Diffusers {
			if len(d.Hose.Route) > 1 && z.meets(d.Hose.Route[1:]) {
				add("HOSE_CROSSES", "Hose %d crosses %s in the water: sink it well there and mark it.", k+1, z.title())
			}
		}
	}
	for k, d := range p.Diffusers {
		if z := g.bars(d.At); z != nil {
			add("SITE_IN_ZONE", "Diffuser %d stands at %s, where none should.", k+1, z.title())
		}
	}
}

// remarkStations says what several stations ask for.
func remarkStations(p *Plan, add func(code, format string, args ...any)) {
	for k, st := range p.Stations {
		if st.Proposed {
			add("STATION_PROPOSED", "Not for construction: station %d was put %s back from the nearest bank, and nobody has seen the place. Look at sun, ground, access and property there.", k+1, unit.Meters(setBack).Distance())
		}
	}
	for _, c := range p.crossings() {
		add("HOSES_CROSS", "Hoses %d and %d cross: lay the deeper one first and tie them where they meet.", c[0]+1, c[1]+1)
	}
}
