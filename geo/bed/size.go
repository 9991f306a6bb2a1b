package bed

// Bytes estimates the memory that a bed holds on to, to bound a store of beds by.
// It counts what grows with the pond: grid and mesh, the surface and its curve, the
// models' factors and data.
func (b *Bed) Bytes() int64 {
	const (
		node, point, triangle = 96, 16, 12
		curveTriangle, cell   = 48, 56
		perDatum              = 160 // datum, row and what finds it
		perFlags              = 24
	)
	m := &b.grid.Mesh
	sum := int64(len(b.grid.Nodes))*(node+cell) + int64(len(m.Points))*(point+8) + int64(len(m.Triangles))*(2*triangle+curveTriangle)
	sum += int64(len(b.flags)) * perFlags
	for _, f := range b.flags {
		sum += int64(cap(f)) * 32
	}
	seen := make(map[*layout]bool)
	for k := range b.doubtful {
		t := b.doubtful[k].coarse
		sum += int64(len(t.data)) * perDatum
		sum += 8 * int64(len(t.x)+len(t.energy)+len(t.share)+len(t.scale))
		if t.factor != nil {
			for _, block := range t.factor.blocks {
				sum += 8 * int64(cap(block))
			}
		}
		if !seen[t.layout] {
			seen[t.layout] = true
			sum += int64(len(t.grid.Nodes)) * (node + 100)
		}
	}
	return sum
}
