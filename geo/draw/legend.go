package draw

import (
	"fmt"
	"math"

	"pondwright/calc/unit"
)

// legend explains the map beside or below it.
func (s *sheet) legend() {
	f := s.v.frame
	x, y := f.x1+3, f.y0
	stepX, stepY := 0.0, 1.0
	if s.v.below {
		x, y = f.x0, f.y1+edge+2
		stepX, stepY = 1, 0
	}
	for _, part := range []func(x, y float64) (w, h float64){s.north, s.bar, s.depths, s.symbols} {
		w, h := part(x, y)
		x, y = x+stepX*(w+4), y+stepY*(h+4)
	}
}

// north draws true north and, where it is known, that of a compass.
func (s *sheet) north(x, y float64) (w, h float64) {
	cx, top := x+8, y+6
	s.Draw(Path{Lines: [][]Point{{{cx, top}, {cx + 2.6, top + 12}, {cx, top + 9.5}, {cx - 2.6, top + 12}}}, Closed: true, Fill: Ink})
	s.Rule(Point{cx, top + 9}, Point{cx, top + 20}, 0.4, Ink)
	s.Write(Text{At: Point{cx, top - 1.4}, Size: 4, Align: Middle, Bold: true, Words: "N"})
	if s.Declination == nil {
		return 20, 27
	}
	deg := s.Declination.Degrees()
	sin, cos := math.Sincos(float64(*s.Declination))
	foot := Point{cx + 8, top + 20}
	end := Point{foot.X + 15*sin, foot.Y - 15*cos}
	s.Rule(foot, end, 0.3, Ink, 1, 0.6)
	s.Disc(end, 0.8, Paper, Ink, 0.3)
	side := "east"
	if deg < 0 {
		side = "west"
	}
	for i, words := range []string{"The dashed line", "is where a", "compass points:", fmt.Sprintf("%.1f° %s", math.Abs(deg), side), "of true north."} {
		s.Write(Text{At: Point{x + 23, top + 4.6 + 3.5*float64(i)}, Size: numeral, Words: words})
	}
	return legendW - 2, 27
}

// bar draws a scale bar of a round length.
func (s *sheet) bar(x, y float64) (w, h float64) {
	perUnit, unitName := 1.0, "m"
	if s.Feet {
		perUnit, unitName = float64(unit.Feet(1)), "ft"
	}
	const most = legendW - 8
	length := roundDown(most / s.v.scale / perUnit)
	long := length * perUnit * s.v.scale
	for i := range 4 {
		s.Rect(x+long*float64(i)/4, y+4, long/4, 1.8, [2]Color{Ink, Paper}[i%2], Ink, 0.2)
	}
	s.Write(Text{At: Point{x, y + 3}, Size: numeral, Words: "0"})
	s.Write(Text{At: Point{x + long, y + 3}, Size: numeral, Align: Right, Words: trim(length, 2) + " " + unitName})
	s.Write(Text{At: Point{x, y + 9.4}, Size: numeral, Words: "1 : " + unit.Decimal(1000/s.v.scale, 0) + " at full page size"})
	return legendW - 2, 11
}

// roundDown returns the largest of 1, 2, 5 times a power of ten that is ≤ v.
func roundDown(v float64) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return 1
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{5, 2} {
		if k*p <= v {
			return k * p
		}
	}
	return p
}

// depths draws the scale of depths: a field for each band with the depth at its
// upper edge.
func (s *sheet) depths(x, y float64) (w, h float64) {
	if len(s.Rings) == 0 {
		return 0, 0
	}
	unitName := "m"
	if s.Feet {
		unitName = "ft"
	}
	s.Write(Text{At: Point{x, y + 3}, Size: numeral, Bold: true, Words: "Depth, " + unitName + ", at the level"})
	s.Write(Text{At: Point{x, y + 6.4}, Size: numeral, Bold: true, Words: "of the shoreline"})
	y += 8.4
	bands := append([]Contour{{}}, s.Contours...)
	rows := (len(bands) + 1) / 2
	if !s.v.below {
		rows = len(bands)
	}
	const high = 4.2
	for i, c := range bands {
		water, ink := s.depth(c.Depth)
		bx, by := x+22*float64(i/rows), y+high*float64(i%rows)
		s.Rect(bx, by, 20, high, water, Ink, 0.12)
		words := s.depthNumeral(c.Depth) + " –"
		if i+1 < len(bands) {
			words += " " + s.depthNumeral(bands[i+1].Depth)
		} else {
			words += " " + s.depthNumeral(s.MaxDepth)
		}
		s.Write(Text{At: Point{bx + 10, by + high/2 + 0.36*numeral}, Size: numeral, Align: Middle, Color: ink, Words: words})
	}
	return legendW - 2, 8.4 + high*float64(rows)
}

// symbols explains the marks that this map has.
func (s *sheet) symbols(x, y float64) (w, h float64) {
	row := 0.0
	add := func(words string, mark func(at Point)) {
		at := Point{x + 5, y + 3 + 5*row}
		mark(at)
		s.Write(Text{At: Point{x + 12, at.Y + 0.36*numeral}, Size: numeral, Words: words})
		row++
	}
	if len(s.Diffusers) > 0 {
		add("diffuser; 1 is D1", func(at Point) {
			s.Disc(at, 1.9, Paper, Ink, 0.3)
			s.Write(Text{At: Point{at.X, at.Y + 0.9}, Size: 2.5, Align: Middle, Bold: true, Words: "1"})
		})
		add("hose", func(at Point) { s.Rule(Point{at.X - 4.5, at.Y}, Point{at.X + 4.5, at.Y}, 0.35, Ink) })
	}
	var mast, entry, trench bool
	for _, st := range s.Stations {
		mast, entry, trench = mast || st.Mast != nil, entry || st.Entry != nil, trench || len(st.Trench) > 1
	}
	if trench {
		add("trench", func(at Point) { s.Rule(Point{at.X - 4.5, at.Y}, Point{at.X + 4.5, at.Y}, 0.8, Ink, 2, 0.8) })
	}
	if mast {
		add("mast", func(at Point) { s.mastMark(at, 1.9) })
	}
	if entry {
		add("shore entry", func(at Point) { s.entryMark(at, 1.6) })
	}
	if len(s.Zones) > 0 {
		add("zone with a rule", func(at Point) {
			ring := []Point{{at.X - 4, at.Y - 1.6}, {at.X + 4, at.Y - 1.6}, {at.X + 4, at.Y + 1.6}, {at.X - 4, at.Y + 1.6}}
			s.Draw(Path{Lines: hatch(ring, 2), Stroke: Ink, Width: 0.16})
			s.Draw(Path{Lines: [][]Point{ring}, Closed: true, Stroke: Ink, Width: 0.3})
		})
	}
	return 40, 5 * row
}
