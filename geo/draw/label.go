package draw

import (
	"fmt"
	"math"
	"slices"

	"pondwright/geo/plane"
)

// free reports whether nothing stands in b and b lies in the map's frame.
func (s *sheet) free(b box) bool {
	if !b.within(s.v.frame.grown(-0.4)) {
		return false
	}
	return !slices.ContainsFunc(s.taken, b.meets)
}

// freeDisc reports whether a disc may stand at q, though its own place be taken.
// Discs are round, so that two may come closer than their boxes.
func (s *sheet) freeDisc(q Point, r float64, own box) bool {
	b := around(q.X, q.Y, 2*r, 2*r)
	if !b.within(s.v.frame.grown(-0.4)) || slices.ContainsFunc(s.taken, func(t box) bool { return t != own && b.meets(t) }) {
		return false
	}
	return !slices.ContainsFunc(s.discs, func(o Point) bool { return math.Hypot(o.X-q.X, o.Y-q.Y) < 2*r+0.2 })
}

// place returns the first free spot for a label w by h near a point, ever farther
// round it. False if the map has no room at all.
func (s *sheet) place(at Point, w, h, first float64, free func(q Point) bool) (Point, bool) {
	const directions = 16
	farthest := math.Hypot(s.v.w, s.v.h)
	for r := first; r < farthest; r += 1.2 {
		for k := range directions {
			sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / directions)
			q := Point{at.X + (r+w/2)*cos, at.Y - (r+h/2)*sin}
			if free(q) {
				return q, true
			}
		}
	}
	return at, false
}

// word writes a name near a point, with a light ground and, when it had to move
// far, a line to its point.
func (s *sheet) word(at Point, words string, bold bool, first float64) {
	if words = clean(words); words == "" {
		return
	}
	size := Fit(words, name, 60, bold)
	w, h := Width(words, size, bold)+1.2, size+1
	q, ok := s.place(at, w, h, first, func(q Point) bool { return s.free(around(q.X, q.Y, w, h)) })
	if !ok {
		return
	}
	s.take(around(q.X, q.Y, w, h))
	if math.Hypot(q.X-at.X, q.Y-at.Y) > first+w/2+4 {
		s.leader(at, q)
	}
	s.Rect(q.X-w/2, q.Y-h/2, w, h, Paper.Fade(0.8), 0, 0)
	s.Write(Text{At: Point{q.X, q.Y + 0.36*size}, Size: size, Align: Middle, Bold: bold, Words: words})
}

func (s *sheet) take(b box) { s.taken = append(s.taken, b) }

func (s *sheet) leader(from, to Point) {
	s.Rule(from, to, 0.7, Paper)
	s.Rule(from, to, 0.25, Ink)
}

// zones hatches the areas that have a rule of their own and names them.
func (s *sheet) zones() {
	for _, z := range s.Zones {
		switch {
		case z.Area && z.Bounds:
			s.stroke([][]plane.Point{z.Points}, true, 0.5, Ink, 4, 1, 0.6, 1)
		case z.Area:
			ring := clipRing(s.v.line(z.Points), s.v.frame)
			s.Draw(Path{Lines: [][]Point{ring}, Closed: true, Fill: Paper.Fade(0.35)})
			s.Draw(Path{Lines: hatch(ring, 2.4), Stroke: Ink, Width: 0.16})
			s.stroke([][]plane.Point{z.Points}, true, 0.4, Ink)
		case len(z.Points) > 1:
			s.stroke([][]plane.Point{z.Points}, false, 1.1, Paper)
			s.stroke([][]plane.Point{z.Points}, false, 0.5, Ink, 1, 0.8)
		}
	}
}

// places draws masts, shore entries, zone names and the frames of enlarged parts.
func (s *sheet) places(windows []window) {
	for _, d := range s.Diffusers {
		if p := s.v.at(d.At); s.shows(d) {
			s.take(around(p.X, p.Y, 1, 1))
		}
	}
	for _, st := range s.Stations {
		s.station(st)
	}
	for _, w := range windows {
		lo, hi := s.v.at(plane.Point{X: w.box.x0, Y: w.box.y1}), s.v.at(plane.Point{X: w.box.x1, Y: w.box.y0})
		s.Rect(lo.X, lo.Y, hi.X-lo.X, hi.Y-lo.Y, 0, Ink, 0.25)
		s.word(lo, w.name, true, 0.4)
	}
	for _, z := range s.Zones {
		s.zoneName(z)
	}
}

// zoneName names a zone beside its middle, or marks it if it is a point.
func (s *sheet) zoneName(z Zone) {
	b, ok := enclose(z.Points)
	if !ok {
		return
	}
	at := s.v.at(plane.Point{X: (b.x0 + b.x1) / 2, Y: (b.y0 + b.y1) / 2})
	if len(z.Points) == 1 {
		if !s.v.frame.grown(-1.5).holds(at.X, at.Y) {
			return
		}
		s.Rect(at.X-1.2, at.Y-1.2, 2.4, 2.4, Paper, Ink, 0.4)
		s.Rule(Point{at.X - 1.2, at.Y - 1.2}, Point{at.X + 1.2, at.Y + 1.2}, 0.3, Ink)
		s.Rule(Point{at.X - 1.2, at.Y + 1.2}, Point{at.X + 1.2, at.Y - 1.2}, 0.3, Ink)
		s.take(around(at.X, at.Y, 2.6, 2.6))
	}
	if z.Bounds { // its middle is the pond's: name it at its edge
		at = s.v.at(z.Points[0])
	}
	if f := s.v.frame; f.holds(at.X, at.Y) || z.Area {
		at = Point{min(max(at.X, f.x0+2), f.x1-2), min(max(at.Y, f.y0+2), f.y1-2)}
		s.word(at, z.Name, false, 0.5)
	}
}

// station draws the marks of a station and then their names, which keep off them.
func (s *sheet) station(st Station) {
	entry, entryShown := s.shown(st.Entry)
	mast, mastShown := s.shown(st.Mast)
	if entryShown {
		s.entryMark(entry, 1.9)
		s.take(around(entry.X, entry.Y, 4, 4))
	}
	if mastShown {
		s.mastMark(mast, 2.6)
		s.take(around(mast.X, mast.Y-0.4, 5.6, 5.2))
		s.word(mast, join("Mast", st.Name), true, 2.4)
	}
	if entryShown {
		s.word(entry, join("Entry", st.Name), false, 1.6)
	}
}

// shown returns where a place stands on the page and whether the map shows it.
func (s *sheet) shown(p *plane.Point) (Point, bool) {
	if p == nil {
		return Point{}, false
	}
	at := s.v.at(*p)
	return at, s.v.frame.grown(-2).holds(at.X, at.Y)
}

func (s *sheet) entryMark(at Point, r float64) {
	s.Draw(Path{
		Lines:  [][]Point{{{at.X, at.Y - r}, {at.X + r, at.Y}, {at.X, at.Y + r}, {at.X - r, at.Y}}},
		Closed: true, Fill: Paper, Stroke: Ink, Width: 0.4,
	})
}

func (s *sheet) mastMark(at Point, r float64) {
	s.Draw(Path{
		Lines:  [][]Point{{{at.X, at.Y - 1.08*r}, {at.X + r, at.Y + 0.73*r}, {at.X - r, at.Y + 0.73*r}}},
		Closed: true, Fill: Paper, Stroke: Ink, Width: 0.5,
	})
}

func join(kind, name string) string {
	if name == "" {
		return kind
	}
	return kind + " " + name
}

// numbers writes each diffuser's number in a disc, on its place while there is
// room, else beside it with a line to the place. Lines lie below all discs.
func (s *sheet) numbers() {
	r := s.discRadius()
	var shown []Diffuser
	for _, d := range s.Diffusers {
		if s.shows(d) {
			shown = append(shown, d)
			s.discs = append(s.discs, s.discPlace(s.v.at(d.At), r))
		}
	}
	for i, d := range shown {
		if at := s.v.at(d.At); s.discs[i] != at {
			s.leader(at, s.discs[i])
			s.Disc(at, 0.6, Ink, Paper, 0.2)
		}
	}
	for i, d := range shown {
		q := s.discs[i]
		s.Disc(q, r, Paper, Ink, 0.16*r)
		size := 1.25 * r
		s.Write(Text{At: Point{q.X, q.Y + 0.36*size}, Size: size, Align: Middle, Bold: true, Words: fmt.Sprint(d.Number)})
		s.take(around(q.X, q.Y, 2*r, 2*r))
	}
}

// discPlace returns where the disc of a diffuser at a point stands. The point itself
// is kept free of everything but this disc.
func (s *sheet) discPlace(at Point, r float64) Point {
	own := around(at.X, at.Y, 1, 1)
	if s.freeDisc(at, r, own) {
		return at
	}
	q, _ := s.place(at, 2*r, 2*r, 1.5, func(q Point) bool { return s.freeDisc(q, r, box{}) })
	return q
}

// shows reports whether the map has room for a diffuser's disc on its place; one at
// the edge of a part stands inside another part.
func (s *sheet) shows(d Diffuser) bool {
	at := s.v.at(d.At)
	return s.v.frame.grown(-discMost-0.5).holds(at.X, at.Y)
}

// discRadius is the largest at which the discs stand on their places.
func (s *sheet) discRadius() float64 {
	var shown []plane.Point
	for _, d := range s.Diffusers {
		if s.shows(d) {
			shown = append(shown, d.At)
		}
	}
	return min(discMost, max(discLeast, nearest(shown)*s.v.scale/2-0.3))
}

// numerals writes the depth of each contour on its rings, where nothing stands.
// Neighbors begin the search at different places, so that numerals do not line up.
func (s *sheet) numerals() {
	for i, c := range s.Contours {
		for _, ring := range c.Rings {
			s.numeral(c, ring, i)
		}
	}
}

func (s *sheet) numeral(c Contour, ring []plane.Point, i int) {
	line := s.v.line(ring)
	length := 0.0
	for k := range line {
		next := line[(k+1)%len(line)]
		length += math.Hypot(next.X-line[k].X, next.Y-line[k].Y)
	}
	const shortest, apart, tries = 18.0, 140.0, 16
	if length < shortest {
		return
	}
	words := s.depthNumeral(c.Depth)
	w, h := Width(words, numeral, false)+1, numeral+0.4
	water, ink := s.depth(c.Depth)
	times := max(1, int(length/apart))
	var written []Point
	for n := range times {
		for k := range tries {
			at := line[(len(line)*((k+5*i)%tries)/tries/times+len(line)*n/times)%len(line)]
			b := around(at.X, at.Y, w, h)
			if !s.free(b.grown(0.5)) || s.onHose(b) || tooNear(at, written) {
				continue
			}
			written = append(written, at)
			s.take(b)
			s.Rect(b.x0, b.y0, w, h, water, 0, 0)
			s.Write(Text{At: Point{at.X, at.Y + 0.36*numeral}, Size: numeral, Align: Middle, Color: ink, Words: words})
			break
		}
	}
}

// onHose reports whether a hose or a trench runs through b.
func (s *sheet) onHose(b box) bool {
	crosses := func(way []plane.Point) bool {
		for i := 1; i < len(way); i++ {
			if _, _, hit := clipSegment(s.v.at(way[i-1]), s.v.at(way[i]), b); hit {
				return true
			}
		}
		return false
	}
	return slices.ContainsFunc(s.Diffusers, func(d Diffuser) bool { return crosses(d.Route) }) ||
		slices.ContainsFunc(s.Stations, func(st Station) bool { return crosses(st.Trench) })
}

// tooNear keeps the numerals of one line from standing together.
func tooNear(at Point, written []Point) bool {
	const least = 45.0
	return slices.ContainsFunc(written, func(q Point) bool { return math.Hypot(at.X-q.X, at.Y-q.Y) < least })
}
