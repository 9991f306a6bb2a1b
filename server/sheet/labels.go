package sheet

import (
	"fmt"

	"pondwright/calc/unit"
	"pondwright/geo/draw"
	pb "pondwright/proto/pondwright/v1"
)

// labels sets a page to cut up: two labels to each run, one for either end.
func (b *book) labels() {
	n := len(b.Plan.GetDiffusers())
	if n == 0 {
		return
	}
	b.open("Labels for the hoses", true)
	b.para("Cut along the lines, cover with clear tape, and fix one to each end of the run before it is laid.")
	const columns, h = 2, 25.0
	w := b.width() / columns
	for k := range 2 * n {
		column := k % columns
		if column == 0 && k > 0 {
			b.gap(h)
		}
		if column == 0 {
			b.room(h)
		}
		b.hoseLabel(k/2, []string{"shore end", "diffuser end"}[k%2], margin+float64(column)*w, b.y, w, h)
	}
	b.gap(h)
}

func (b *book) hoseLabel(i int, end string, x, y, w, h float64) {
	d := b.Plan.GetDiffusers()[i]
	p := b.page
	p.Draw(draw.Path{
		Lines:  [][]draw.Point{{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}}},
		Closed: true, Stroke: draw.Soft, Width: 0.2, Dash: []float64{1.5, 1.2},
	})
	label := b.label(i)
	size := draw.Fit(label, draw.Points(30), w-30, true)
	p.Write(draw.Text{At: draw.Point{X: x + 3, Y: y + 12}, Size: size, Bold: true, Words: label})
	p.Write(draw.Text{At: draw.Point{X: x + w - 3, Y: y + 7}, Size: draw.Points(9), Align: draw.Right, Words: end})
	p.Write(draw.Text{
		At: draw.Point{X: x + w - 3, Y: y + 12}, Size: draw.Points(9), Align: draw.Right,
		Words: joined(", ", b.stationOf(d), b.Units.Distance(unit.Meters(d.GetHose().GetLengthM()))),
	})
	b.small(x+3, y+17.5, w-6, joined(", ", b.name, b.planID()))
	b.small(x+3, y+22, w-6, fmt.Sprintf("%s, %s, depth %s", degrees(d.GetLat()), degrees(d.GetLon()), b.Units.Length(unit.Meters(d.GetDepthM()))))
}

// stationOf names the station of a diffuser where there are several.
func (b *book) stationOf(d *pb.Diffuser) string {
	if len(b.Plan.GetStations()) < 2 {
		return ""
	}
	return fmt.Sprint("station ", d.GetStation()+1)
}

func (b *book) small(x, y, w float64, words string) {
	b.page.Write(draw.Text{At: draw.Point{X: x, Y: y}, Size: draw.Fit(words, draw.Points(8), w, false), Words: words})
}
