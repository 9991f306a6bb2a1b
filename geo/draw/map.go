package draw

import (
	"fmt"
	"math"
	"strings"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// path returns rings as SVG path data.
func path(v view, rings [][]plane.Point, closed bool) string {
	var b strings.Builder
	for _, ring := range rings {
		for i, p := range ring {
			x, y := v.at(p)
			cmd := "L"
			if i == 0 {
				cmd = "M"
			}
			b.WriteString(cmd + num(x) + " " + num(y))
		}
		if closed {
			b.WriteString("Z")
		}
	}
	return b.String()
}

// drawDepths paints the water from the shore down, each band over the last.
func (l Layout) drawDepths(s *svg, v view) {
	s.element(`<path d="%s" fill="%s" fill-rule="evenodd" stroke="none"/>`, path(v, l.Rings, true), l.color(0).hex())
	for _, c := range l.Contours {
		s.element(`<path d="%s" fill="%s" fill-rule="evenodd" stroke="#2b1a2e" stroke-opacity="0.45" stroke-width="0.5"/>`,
			path(v, c.Rings, true), l.color(c.Depth).hex())
	}
	s.element(`<path d="%s" fill="none" stroke="#2b1a2e" stroke-width="1.6" stroke-linejoin="round"/>`, path(v, l.Rings, true))
	var taken []box
	room := l.discRadius(v) + 5
	for _, d := range l.Diffusers {
		x, y := v.at(d.At)
		taken = append(taken, box{x - room, y - room, x + room, y + room})
	}
	for i, c := range l.Contours {
		l.label(s, v, c, i, &taken)
	}
}

func (l Layout) color(d unit.Meters) oklab {
	return depthColor(float64(d) / max(float64(l.MaxDepth), 0.1))
}

type box struct{ x0, y0, x1, y1 float64 }

func (b box) meets(c box) bool { return b.x0 < c.x1 && c.x0 < b.x1 && b.y0 < c.y1 && c.y0 < b.y1 }

// label writes the numeral of contour i once on its longest ring, at the first
// of eight places where nothing else stands. Neighbors begin the search at
// different places, so that numerals do not line up over one hose.
func (l Layout) label(s *svg, v view, c Contour, i int, taken *[]box) {
	var longest []plane.Point
	for _, ring := range c.Rings {
		if plane.RingLength(ring) > plane.RingLength(longest) {
			longest = ring
		}
	}
	if plane.RingLength(longest)*v.scale < 60 {
		return
	}
	const tries = 8
	for k := range tries {
		x, y := v.at(longest[len(longest)*((k+3*i)%tries)/tries])
		b := box{x - 11, y - 7, x + 11, y + 7}
		free := true
		for _, t := range *taken {
			free = free && !b.meets(t)
		}
		if !free {
			continue
		}
		*taken = append(*taken, b)
		color := l.color(c.Depth)
		s.element(`<rect x="%s" y="%s" width="20" height="11" rx="2" fill="%s"/>`, num(x-10), num(y-5.5), color.hex())
		s.text(x, y+3.4, 9.5, fmt.Sprintf(`text-anchor="middle" fill="%s"`, color.ink()), l.depthNumeral(c.Depth))
		return
	}
}

func (l Layout) depthNumeral(d unit.Meters) string {
	v := float64(d)
	if l.Feet {
		v = d.Feet()
	}
	return trim(v, 1)
}

// trim prints v to at most n decimals.
func trim(v float64, n int) string {
	s := fmt.Sprintf("%.*f", n, v)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// drawHoses draws every hose twice: light below, dark dashes above, so that it
// shows on sand and on plum.
func (l Layout) drawHoses(s *svg, v view) {
	for _, d := range l.Diffusers {
		if len(d.Route) < 2 {
			continue
		}
		data := path(v, [][]plane.Point{d.Route}, false)
		s.element(`<path d="%s" fill="none" stroke="#fbf7ee" stroke-width="3" stroke-linejoin="round"/>`, data)
		s.element(`<path d="%s" fill="none" stroke="#17101a" stroke-width="1.3" stroke-dasharray="7 3" stroke-linejoin="round"/>`, data)
	}
}

// drawMarks draws the mast as a triangle and every diffuser as a numbered disc.
func (l Layout) drawMarks(s *svg, v view) {
	if l.Mast != nil {
		x, y := v.at(*l.Mast)
		s.element(`<path d="M%s %sl8 14h-16z" fill="#fbf7ee" stroke="#17101a" stroke-width="1.6"/>`, num(x), num(y-9))
		side, anchor := 11.0, "start"
		if x > marginU+mapW-45 { // there is no room before the panel
			side, anchor = -11, "end"
		}
		s.text(x+side, y+5, 10.5, `text-anchor="`+anchor+`" fill="#17101a" font-weight="bold" paint-order="stroke" stroke="#ffffff" stroke-width="3"`, "Mast")
	}
	r := l.discRadius(v)
	for _, d := range l.Diffusers {
		x, y := v.at(d.At)
		s.element(`<circle cx="%s" cy="%s" r="%s" fill="#fbf7ee" stroke="#17101a" stroke-width="%s"/>`, num(x), num(y), num(r), num(0.2*r))
		s.text(x, y+0.43*r, 1.22*r, `text-anchor="middle" font-weight="bold" fill="#17101a"`, fmt.Sprint(d.Number))
	}
}

// discRadius is the radius at which no diffuser's disc lies on another, down to
// what can still be read.
func (l Layout) discRadius(v view) float64 {
	const largest, smallest = 9.0, 3.5
	nearest := 2 * largest
	for i, a := range l.Diffusers {
		for _, b := range l.Diffusers[:i] {
			nearest = min(nearest, v.scale*a.At.Distance(b.At))
		}
	}
	return max(smallest, 0.48*nearest)
}

func (l Layout) drawStamp(s *svg) {
	if l.Stamp == "" {
		return
	}
	cx, cy := marginU+mapW/2, pageH/2+20
	size := min(40, 1.5*mapW/float64(len(l.Stamp)))
	s.element(`<g transform="rotate(-24 %s %s)" opacity="0.30">`, num(cx), num(cy))
	s.text(cx, cy, size, `text-anchor="middle" font-weight="bold" fill="#17101a" paint-order="stroke" stroke="#ffffff" stroke-width="3"`, l.Stamp)
	s.element(`</g>`)
}

// drawScaleBar draws a bar of a round length, about a quarter of the map.
func (l Layout) drawScaleBar(s *svg, v view) {
	perUnit, name := 1.0, "m"
	if l.Feet {
		perUnit, name = float64(unit.Feet(1)), "ft"
	}
	length := roundDown(0.25 * mapW / v.scale / perUnit)
	w := length * perUnit * v.scale
	x, y := marginU+4, pageH-marginU-6
	for i := range 4 {
		fill := "#17101a"
		if i%2 == 1 {
			fill = "#ffffff"
		}
		s.element(`<rect x="%s" y="%s" width="%s" height="5" fill="%s" stroke="#17101a" stroke-width="0.7"/>`,
			num(x+w*float64(i)/4), num(y-5), num(w/4), fill)
	}
	s.text(x, y-9, 9.5, `fill="#17101a"`, "0")
	s.text(x+w, y-9, 9.5, `text-anchor="middle" fill="#17101a"`, trim(length, 2)+" "+name)
	depths := "Contour numerals: depth in " + map[bool]string{true: "feet", false: "meters"}[l.Feet] + " below the water of the survey"
	s.text(x+w+40, y, 9.5, `fill="#4a3f4d"`, depths)
}

// roundDown returns the largest of 1, 2, 5 times a power of ten that is ≤ v.
func roundDown(v float64) float64 {
	if !(v > 0) {
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

func drawNorth(s *svg, x, y float64) {
	s.element(`<path d="M%s %sl7 24l-7 -6l-7 6z" fill="#17101a"/>`, num(x), num(y-18))
	s.text(x, y-22, 12, `text-anchor="middle" font-weight="bold" fill="#17101a"`, "N")
}
