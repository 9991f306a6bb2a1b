package bed_test

import (
	"testing"

	"pondwright/geo/bed"
)

func BenchmarkEstimate(b *testing.B) {
	for _, name := range []string{"O1_bowl", "O4_dense60"} {
		b.Run(name, func(b *testing.B) {
			p := loadPond(b, name)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := bed.Estimate(p.shore, p.soundings, bed.Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
