package plan

import (
	"pondwright/geo/plane"
	"pondwright/geo/site"
)

// Patches cuts the input's water for the search of sites.
func (in Input) Patches() []site.Cell { return patches(in.bedOf(), in.Shore.Crosses) }

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
