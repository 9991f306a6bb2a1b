package sheet

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"slices"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"

	picture "pondwright/geo/draw"
)

// Limits of an image: a page of 2 m at 300 dots an inch, and 100 million dots.
const (
	mostDots = 24000
	mostArea = 1e8
)

// PNG paints a picture with so many dots to the millimeter; 6 is about 150 an inch.
// It returns an error for an image without a size or beyond 100 million dots.
func PNG(p *picture.Picture, dotsPerMM float64) ([]byte, error) {
	w, h := math.Ceil(p.W*dotsPerMM), math.Ceil(p.H*dotsPerMM)
	if !(w >= 1 && h >= 1 && w <= mostDots && h <= mostDots && w*h <= mostArea) {
		return nil, fmt.Errorf("write PNG: an image of %g by %g dots is none", w, h)
	}
	c := canvas{dst: image.NewRGBA(image.Rect(0, 0, int(w), int(h))), k: dotsPerMM}
	draw.Draw(c.dst, c.dst.Bounds(), image.White, image.Point{}, draw.Src)
	for _, m := range p.Marks {
		switch m := m.(type) {
		case *picture.Path:
			c.path(m)
		case *picture.Text:
			c.text(m)
		}
	}
	var out bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := encoder.Encode(&out, c.dst); err != nil {
		return nil, fmt.Errorf("write PNG: %w", err)
	}
	return out.Bytes(), nil
}

// canvas paints on an image, k dots to the millimeter.
type canvas struct {
	dst *image.RGBA
	k   float64
	ras vector.Rasterizer
	buf sfnt.Buffer
}

type point = picture.Point

func (c *canvas) path(m *picture.Path) {
	if m.Fill != 0 {
		var rings [][]point
		for i, line := range m.Lines {
			rings = append(rings, wound(line, m.Lines, i))
		}
		c.fill(rings, m.Fill)
	}
	if m.Stroke == 0 {
		return
	}
	var pieces [][]point
	r := max(m.Width, 1/c.k) / 2
	for _, line := range m.Lines {
		if m.Closed {
			line = append(slices.Clip(line), line[0])
		}
		for _, dash := range dashes(line, m.Dash) {
			pieces = append(pieces, stroke(dash, r)...)
		}
	}
	c.fill(pieces, m.Stroke)
}

// wound turns ring i so that it adds where an even number of the others hold it and
// takes away else: the painter counts turns, the picture counts crossings.
func wound(ring []point, all [][]point, i int) []point {
	in := false
	for j, other := range all {
		if j != i && holds(other, ring[0]) {
			in = !in
		}
	}
	if (area(ring) < 0) == in {
		return ring
	}
	out := make([]point, len(ring))
	for k, q := range ring {
		out[len(ring)-1-k] = q
	}
	return out
}

func area(ring []point) float64 {
	sum := 0.0
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		sum += p.X*q.Y - q.X*p.Y
	}
	return sum / 2
}

func holds(ring []point, p point) bool {
	in := false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// stroke returns what a pen of radius r covers along a line: a piece for each of
// its parts and a round one for each joint, all turning the same way.
func stroke(line []point, r float64) [][]point {
	var out [][]point
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		d := math.Hypot(b.X-a.X, b.Y-a.Y)
		if d == 0 {
			continue
		}
		nx, ny := -(b.Y-a.Y)/d*r, (b.X-a.X)/d*r
		out = append(out, []point{{X: a.X - nx, Y: a.Y - ny}, {X: b.X - nx, Y: b.Y - ny}, {X: b.X + nx, Y: b.Y + ny}, {X: a.X + nx, Y: a.Y + ny}})
		if i+1 < len(line) {
			out = append(out, joint(b, r))
		}
	}
	return out
}

func joint(at point, r float64) []point {
	const corners = 8
	ring := make([]point, corners)
	for i := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		ring[i] = point{X: at.X + r*cos, Y: at.Y + r*sin}
	}
	return ring
}

// dashes cuts a line into the drawn lengths of a pattern.
func dashes(line []point, pattern []float64) [][]point {
	sum := 0.0
	for _, d := range pattern {
		sum += max(d, 0)
	}
	if !(sum > 0.01) {
		return [][]point{line}
	}
	var out [][]point
	k, left, on := 0, pattern[0], true
	piece := []point{line[0]}
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		for {
			d := math.Hypot(b.X-a.X, b.Y-a.Y)
			if d <= left {
				left -= d
				break
			}
			a = point{X: a.X + left/d*(b.X-a.X), Y: a.Y + left/d*(b.Y-a.Y)}
			if on {
				out = append(out, append(piece, a))
			}
			on, k = !on, (k+1)%len(pattern)
			left, piece = pattern[k], []point{a}
		}
		piece = append(piece, b)
	}
	if on && len(piece) > 1 {
		out = append(out, piece)
	}
	return out
}

// fill paints rings by the turns they make.
func (c *canvas) fill(rings [][]point, ink picture.Color) {
	c.raster(rings, func(ring []point, x, y float64) {
		for i, q := range ring {
			px, py := float32(q.X*c.k-x), float32(q.Y*c.k-y)
			if i == 0 {
				c.ras.MoveTo(px, py)
			} else {
				c.ras.LineTo(px, py)
			}
		}
		c.ras.ClosePath()
	}, ink)
}

// raster paints what put lays down for each ring, within the rings' own box.
func (c *canvas) raster(rings [][]point, put func(ring []point, x, y float64), ink picture.Color) {
	lo, hi := point{X: math.Inf(1), Y: math.Inf(1)}, point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, ring := range rings {
		for _, q := range ring {
			lo = point{X: min(lo.X, q.X*c.k), Y: min(lo.Y, q.Y*c.k)}
			hi = point{X: max(hi.X, q.X*c.k), Y: max(hi.Y, q.Y*c.k)}
		}
	}
	if lo.X > hi.X {
		return
	}
	b := image.Rect(int(math.Floor(lo.X)), int(math.Floor(lo.Y)), int(math.Ceil(hi.X))+1, int(math.Ceil(hi.Y))+1).Intersect(c.dst.Bounds())
	if b.Empty() {
		return
	}
	c.ras.Reset(b.Dx(), b.Dy())
	for _, ring := range rings {
		put(ring, float64(b.Min.X), float64(b.Min.Y))
	}
	r, g, bl, a := ink.RGBA()
	c.ras.Draw(c.dst, b, image.NewUniform(color.NRGBA{R: r, G: g, B: bl, A: a}), image.Point{})
}

// text paints the outlines of the letters.
func (c *canvas) text(m *picture.Text) {
	face := picture.Face(m.Bold)
	words := face.Printable(m.Words)
	sin, cos := math.Sincos(m.Angle * math.Pi / 180)
	along := -m.Align.Share() * picture.Width(words, m.Size, m.Bold)
	for _, r := range words {
		c.glyph(face, r, m.Size, func(x, y float64) point {
			x += along
			return point{X: m.At.X + x*cos + y*sin, Y: m.At.Y - x*sin + y*cos}
		}, m.Color)
		along += m.Size * face.Advance(r)
	}
}

// em is the size at which outlines are read, in their own units.
const em = 2048

// glyph paints a letter of a size; place says where a point of it, in millimeters
// from its origin, stands on the page.
func (c *canvas) glyph(face *picture.Typeface, r rune, size float64, place func(x, y float64) point, ink picture.Color) {
	index, err := face.Font.GlyphIndex(&c.buf, r)
	if err != nil {
		return
	}
	segments, err := face.Font.LoadGlyph(&c.buf, index, fixed.I(em), nil)
	if err != nil || len(segments) == 0 {
		return
	}
	at := func(q fixed.Point26_6) point {
		return place(float64(q.X)/64/em*size, float64(q.Y)/64/em*size)
	}
	box := make([]point, 0, 3*len(segments))
	for _, s := range segments {
		for _, q := range s.Args[:argsOf(s.Op)] {
			box = append(box, at(q))
		}
	}
	c.raster([][]point{box}, func(_ []point, x, y float64) {
		to := func(q fixed.Point26_6) (float32, float32) {
			p := at(q)
			return float32(p.X*c.k - x), float32(p.Y*c.k - y)
		}
		for _, s := range segments {
			ax, ay := to(s.Args[0])
			switch s.Op {
			case sfnt.SegmentOpMoveTo:
				c.ras.ClosePath()
				c.ras.MoveTo(ax, ay)
			case sfnt.SegmentOpLineTo:
				c.ras.LineTo(ax, ay)
			case sfnt.SegmentOpQuadTo:
				bx, by := to(s.Args[1])
				c.ras.QuadTo(ax, ay, bx, by)
			case sfnt.SegmentOpCubeTo:
				bx, by := to(s.Args[1])
				cx, cy := to(s.Args[2])
				c.ras.CubeTo(ax, ay, bx, by, cx, cy)
			}
		}
		c.ras.ClosePath()
	}, ink)
}

func argsOf(op sfnt.SegmentOp) int {
	switch op {
	case sfnt.SegmentOpMoveTo, sfnt.SegmentOpLineTo:
		return 1
	case sfnt.SegmentOpQuadTo:
		return 2
	case sfnt.SegmentOpCubeTo:
		return 3
	}
	return 0
}
