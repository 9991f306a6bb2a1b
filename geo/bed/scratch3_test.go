package bed_test

import (
	"pondwright/geo/bed"
	"testing"
)

func BenchmarkO(b *testing.B) {
	for _, n := range []string{"O1_bowl", "O4_dense60"} {
		b.Run(n, func(b *testing.B) {
			p := loadPond(b, n)
			b.ReportAllocs()
			b.ResetTimer()
			for b.Loop() {
				if _, err := bed.Estimate(p.shore, p.soundings, bed.Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
