package bed

import (
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/curve"
)

func (b *Bed) estimate(soundings []Sounding, opt Options) error {
	g := b.grid
	b.depthM = make([]float64, len(g.Mesh.Points))
	var zz, zd float64
	for _, s := range soundings {
		t, w, ok := g.Mesh.Locate(s.At)
		if !ok || math.IsNaN(s.DepthM) || s.Verdict == Rejected {
			continue
		}
		var z float64
		for k, v := range g.Mesh.Triangles[t] {
			if int(v) < len(g.Nodes) {
				z += w[k] * g.Nodes[v].ShoreM
			}
		}
		zz += z * z
		zd += z * s.depthM()
		b.diag.Used++
	}
	slope := 1.5 / g.WidestM * 3
	if zz > 0 {
		slope = max(0, zd/zz)
	}
	for n, node := range g.Nodes {
		b.depthM[n] = slope * node.ShoreM
	}
	var err error
	if b.curve, err = curve.New(&g.Mesh, b.depthM); err != nil {
		return err
	}
	area, volume := b.curve.At(0)
	b.volume = Interval[unit.CubicMeters]{volume, volume / 2, volume * 2, volume / 1.5, volume * 1.5}
	b.area = Interval[unit.SquareMeters]{area, area, area, area, area}
	mean := unit.Meters(float64(volume) / float64(area))
	b.mean = Interval[unit.Meters]{mean, mean / 2, mean * 2, mean / 1.5, mean * 1.5}
	deep := b.curve.MaxDepth()
	b.deepest = Interval[unit.Meters]{deep, deep / 2, deep * 2, deep / 1.5, deep * 1.5}
	b.cells = makeCells(g, b.depthM)
	return nil
}
