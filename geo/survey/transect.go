package survey

import (
	"fmt"
	"math"
	"slices"

	"pondwright/calc/unit"
	"pondwright/geo/contour"
	"pondwright/geo/grid"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// Purpose is what a planned line is for.
type Purpose int

// The purposes. The zero value is Across.
const (
	Across  Purpose = iota // one of the parallel lines
	Axis                   // along the pond: it checks the others
	Rim                    // round the pond, a few meters off the shore
	Arm                    // up the middle of an arm
	Star                   // through the place that is likely deepest
	noKinds                // their number
)

var purposeNames = [noKinds]string{"across", "axis", "rim", "arm", "star"}

// String names the purpose.
func (p Purpose) String() string {
	if p < 0 || p >= noKinds {
		return "unknown"
	}
	return purposeNames[p]
}

// Layout of planned lines. Common practice, no source.
const (
	widestSpacing unit.Meters = 15
	spacingShare              = 0.10 // of √area, where that is less
	rimM                      = 4.0
	starWays                  = 3
	insetM                    = 1.0 // that a line stops short of the shore
	leastLineM                = 5.0
	narrowShare               = 0.6 // an arm is water nearer the shore than this share of the most …
	armWidths                 = 3.5 // … over a way longer than so many mean distances to the shore
	leastArmM                 = 10.0
	mostArms                  = 40
	fixesPerSpace             = 4 // soundings along a line to one spacing across
	boatSpeed                 = unit.MetersPerSecond(1.5)
	turnMinutes               = 0.5
	aroundLand                = 1.5 // of the straight way, where land lies in it; judgement, no source
)

// errorsByLines is what lines across the pond's length miss the volume by: mean
// absolute error over 26 ponds of known bed, and the worst pond's. Measured by
// this project on 25 November 2026 (cmd/internal/trial, table of volume and depth
// by number of lines); the lines ran straight and did not enter arms.
var errorsByLines = []struct{ lines, share, worst float64 }{
	{8, 0.0169, 0.0463}, {14, 0.0076, 0.0234}, {28, 0.0036, 0.0186},
}

// ErrorSource says where the errors of a choice come from.
const ErrorSource = "mean absolute error of the volume at that number of lines across the pond's length on the 26 ponds of known bed that this project is tested on; those lines did not enter arms, these do"

// Transect is a line that a boat is to run.
type Transect struct {
	Name    string
	Points  []plane.Point
	Purpose Purpose
	Spacing unit.Meters // to the next of its kind; zero for none
}

// length returns its length in meters.
func (t *Transect) length() (m float64) {
	for k := 1; k < len(t.Points); k++ {
		m += t.Points[k].Distance(t.Points[k-1])
	}
	return m
}

// distance returns how far a place lies from it, in meters.
func (t *Transect) distance(at plane.Point) float64 {
	least := math.Inf(1)
	for k := 1; k < len(t.Points); k++ {
		d, _ := plane.SegmentDistance(at, t.Points[k-1], t.Points[k])
		least = min(least, d)
	}
	return least
}

func (t *Transect) from() plane.Point { return t.Points[0] }
func (t *Transect) to() plane.Point   { return t.Points[len(t.Points)-1] }

// Choice is what lines at one spacing cost and give.
type Choice struct {
	Spacing      unit.Meters
	Lines        int
	Way          unit.Meters // lines and the way between them
	Minutes      float64
	Error, Worst float64 // of the volume, as a share
	Extrapolated bool    // the spacing lies outside what was tested
}

// TransectPlan is the lines to run before anything is sounded.
type TransectPlan struct {
	Transects []Transect // in the order in which to run them
	Chosen    Choice
	Choices   []Choice    // at other spacings, widest first
	Interval  unit.Meters // between soundings along a line, at most
}

// PlanTransects plans the lines to run from the outline alone: parallel lines
// across the long axis, one along it, one round the shore, one up the middle of
// each arm and a star where the water is likely deepest. A spacing of zero takes
// the lesser of 15 m and a tenth of √area. It returns a *unit.RangeError for a
// spacing outside 1 to 500 m or one that gives more than 2,000 lines, and what
// grid.New does.
func PlanTransects(s *shore.Shore, spacing unit.Meters) (*TransectPlan, error) {
	if spacing == 0 {
		spacing = max(1, min(widestSpacing, unit.Meters(spacingShare*math.Sqrt(float64(s.Area())))))
	}
	if err := unit.CheckRange("spacing of the lines (m)", float64(spacing), 1, 500, "this project's own limit"); err != nil {
		return nil, err
	}
	p, err := newPlanner(s)
	if err != nil {
		return nil, fmt.Errorf("survey: %w", err)
	}
	if err := unit.CheckRange("lines across the pond", p.lengthM/float64(spacing), 0, 2000, "this project's own limit; take a wider spacing"); err != nil {
		return nil, err
	}
	out := &TransectPlan{Interval: spacing / fixesPerSpace}
	out.Transects, out.Chosen = p.plan(spacing)
	for _, n := range []float64{8, 11, 14, 20, 28} {
		if at := unit.Meters(p.lengthM / n); at >= 1 {
			_, choice := p.plan(at)
			out.Choices = append(out.Choices, choice)
		}
	}
	return out, nil
}

// planner knows what does not depend on the spacing.
type planner struct {
	shore   *shore.Shore
	grid    *grid.Grid
	mid     plane.Point
	along   plane.Point // unit vector of the long axis
	across  plane.Point
	low     float64 // where the outline begins along the axis
	lengthM float64 // of the outline along the axis
	reachM  float64 // half of the outline across it, at least
	nodeAt  map[[2]int32]int
}

func newPlanner(s *shore.Shore) (*planner, error) {
	g, err := grid.New(s, grid.Options{})
	if err != nil {
		return nil, err
	}
	p := &planner{shore: s, grid: g, nodeAt: make(map[[2]int32]int)}
	// The long axis is that of the water's second moments.
	n := float64(len(g.Nodes))
	for i, node := range g.Nodes {
		p.mid = p.mid.Add(node.At.Scale(1 / n))
		p.nodeAt[[2]int32{node.I, node.J}] = i
	}
	var xx, yy, xy float64
	for _, node := range g.Nodes {
		d := node.At.Sub(p.mid)
		xx, yy, xy = xx+d.X*d.X, yy+d.Y*d.Y, xy+d.X*d.Y
	}
	sin, cos := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
	p.along, p.across = plane.Point{X: cos, Y: sin}, plane.Point{X: -sin, Y: cos}
	p.low = math.Inf(1)
	high := math.Inf(-1)
	for _, c := range s.Rings()[0] {
		d := c.Sub(p.mid)
		p.low, high = min(p.low, d.Dot(p.along)), max(high, d.Dot(p.along))
		p.reachM = max(p.reachM, math.Abs(d.Dot(p.across))+1)
	}
	p.lengthM = high - p.low
	return p, nil
}

// plan lays the lines at a spacing and says what they cost and give.
func (p *planner) plan(spacing unit.Meters) ([]Transect, Choice) {
	rows := p.rows(float64(spacing))
	axis := p.axis(rows)
	lines := slices.Concat(slices.Concat(rows...), axis, p.arms(axis), p.rim(), p.star(float64(spacing)))
	for k := range lines {
		if lines[k].Purpose == Across {
			lines[k].Spacing = spacing
		}
	}
	ordered, way := p.order(lines)
	count := make(map[Purpose]int)
	for k := range ordered {
		t := &ordered[k]
		count[t.Purpose]++
		t.Name = fmt.Sprintf("%s %d", t.Purpose, count[t.Purpose])
	}
	c := Choice{
		Spacing: spacing, Lines: len(ordered), Way: unit.Meters(way),
		Minutes: way/float64(boatSpeed)/60 + turnMinutes*float64(len(ordered)),
	}
	c.Error, c.Worst, c.Extrapolated = expectedError(p.lengthM / float64(spacing))
	return ordered, c
}

// expectedError reads the table of errors at a number of lines, straight in the
// logarithms; outside the table the nearest row holds.
func expectedError(lines float64) (share, worst float64, extrapolated bool) {
	t := errorsByLines
	const slack = 1e-6
	extrapolated = lines < t[0].lines-slack || lines > t[len(t)-1].lines+slack
	lines = min(max(lines, t[0].lines), t[len(t)-1].lines)
	k := 1
	for k < len(t)-1 && t[k].lines < lines {
		k++
	}
	a, b := t[k-1], t[k]
	f := math.Log(lines/a.lines) / math.Log(b.lines/a.lines)
	between := func(u, v float64) float64 { return u * math.Pow(v/u, f) }
	return between(a.share, b.share), between(a.worst, b.worst), extrapolated
}

// rows returns the lines across, by their place along the axis.
func (p *planner) rows(spacingM float64) [][]Transect {
	n := max(1, int(math.Round(p.lengthM/spacingM)))
	out := make([][]Transect, n)
	for k := range out {
		at := p.mid.Add(p.along.Scale(p.low + p.lengthM*(float64(k)+0.5)/float64(n)))
		for _, way := range p.wet(at.Sub(p.across.Scale(p.reachM)), at.Add(p.across.Scale(p.reachM))) {
			out[k] = append(out[k], Transect{Points: way[:], Purpose: Across})
		}
	}
	return out
}

// wet returns the parts of the segment ab in the water, short of the shore by the
// inset.
func (p *planner) wet(a, b plane.Point) [][2]plane.Point {
	d := b.Sub(a)
	cuts := []float64{0, 1}
	for _, ring := range p.shore.Rings() {
		for k, u := range ring {
			v := ring[(k+1)%len(ring)]
			side := v.Sub(u)
			den := d.Cross(side)
			if den == 0 {
				continue
			}
			t, f := u.Sub(a).Cross(side)/den, u.Sub(a).Cross(d)/den
			if f >= 0 && f < 1 && t > 0 && t < 1 {
				cuts = append(cuts, t)
			}
		}
	}
	slices.Sort(cuts)
	var out [][2]plane.Point
	for k := 1; k < len(cuts); k++ {
		if !p.shore.Contains(a.Lerp(b, (cuts[k-1]+cuts[k])/2)) {
			continue
		}
		from, to := a.Lerp(b, cuts[k-1]), a.Lerp(b, cuts[k])
		if way := from.Distance(to); way-2*insetM >= leastLineM {
			out = append(out, [2]plane.Point{from.Lerp(to, insetM/way), to.Lerp(from, insetM/way)})
		}
	}
	return out
}

// axis joins the middles of the rows to lines along the pond: each run of middles
// that see each other, from the widest part of a row to that of the next.
func (p *planner) axis(rows [][]Transect) []Transect {
	var out []Transect
	var run []plane.Point
	end := func() {
		if t := (Transect{Points: run, Purpose: Axis}); len(run) > 1 && t.length() >= leastLineM {
			out = append(out, t)
		}
		run = nil
	}
	for _, row := range rows {
		best, at := 0.0, plane.Point{}
		for k := range row {
			mid := row[k].from().Lerp(row[k].to(), 0.5)
			width := row[k].length()
			if len(run) > 0 && p.shore.Crosses(run[len(run)-1], mid) {
				width /= 1e3 // only where nothing else goes on
			}
			if width > best {
				best, at = width, mid
			}
		}
		if best == 0 {
			end()
			continue
		}
		if len(run) > 0 && p.shore.Crosses(run[len(run)-1], at) {
			end()
		}
		run = append(run, at)
	}
	end()
	return out
}

// rim returns lines round the pond and its islands, a few meters off the shore.
func (p *planner) rim() []Transect {
	away := make([]float64, len(p.grid.Mesh.Points))
	for i, n := range p.grid.Nodes {
		away[i] = n.ShoreM
	}
	var out []Transect
	for _, ring := range contour.Rings(&p.grid.Mesh, away, min(rimM, 0.4*p.grid.WidestM)) {
		t := Transect{Points: straighten(append(ring, ring[0]), 0.25), Purpose: Rim}
		if t.length() >= 4*leastLineM {
			out = append(out, t)
		}
	}
	return out
}

// star returns ways through the place farthest from the shore, where the water is
// likely deepest.
func (p *planner) star(spacingM float64) []Transect {
	far := 0
	for i, n := range p.grid.Nodes {
		if n.ShoreM > p.grid.Nodes[far].ShoreM {
			far = i
		}
	}
	mid := p.grid.Nodes[far].At
	reach := min(2*spacingM, p.grid.Nodes[far].ShoreM)
	var out []Transect
	for k := range starWays {
		a := math.Pi * (float64(k) + 0.5) / starWays
		way := p.along.Scale(math.Cos(a)).Add(p.across.Scale(math.Sin(a))).Scale(reach)
		for _, w := range p.wet(mid.Sub(way), mid.Add(way)) {
			out = append(out, Transect{Points: w[:], Purpose: Star})
		}
	}
	return out
}

// order puts lines in an order to run them in, each from its nearer end, and
// returns the whole way.
func (p *planner) order(lines []Transect) ([]Transect, float64) {
	var out []Transect
	var way float64
	left := slices.Clone(lines)
	for len(left) > 0 {
		best, turned, nearest := 0, false, math.Inf(1)
		for k := range left {
			if len(out) == 0 {
				break // the first is as good as any
			}
			last := out[len(out)-1].to()
			a, b := last.Distance(left[k].from()), last.Distance(left[k].to())
			if min(a, b) < nearest {
				best, turned, nearest = k, b < a, min(a, b)
			}
		}
		t := left[best]
		t.Points = slices.Clone(t.Points)
		if turned {
			slices.Reverse(t.Points)
		}
		if len(out) > 0 {
			last := out[len(out)-1].to()
			if p.shore.Crosses(last, t.from()) {
				nearest *= aroundLand
			}
			way += nearest
		}
		way += t.length()
		out = append(out, t)
		left = slices.Delete(left, best, best+1)
	}
	return out, way
}

// straighten drops corners that lie closer than tolM to the line through those
// kept (Douglas & Peucker, 1973, Cartographica 10, 112–122).
func straighten(line []plane.Point, tolM float64) []plane.Point {
	if len(line) < 3 {
		return line
	}
	worst, at := 0.0, 0
	for k := 1; k < len(line)-1; k++ {
		if d, _ := plane.SegmentDistance(line[k], line[0], line[len(line)-1]); d > worst {
			worst, at = d, k
		}
	}
	if worst <= tolM {
		return []plane.Point{line[0], line[len(line)-1]}
	}
	left := straighten(line[:at+1], tolM)
	return slices.Concat(left[:len(left)-1], straighten(line[at:], tolM))
}
