package bed_test

import (
	"os"
	"testing"

	"pondwright/geo/bed"
	"pondwright/geo/internal/known"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// pond is a test pond with its known truth, see testdata/README.md.
type pond struct {
	name      string
	shore     *shore.Shore
	soundings []bed.Sounding
	truth     known.Truth
	checks    []check
	levels    []level
}

type check struct {
	at     plane.Point
	depthM float64
}

type level struct{ drawdownM, areaM2, volumeM3 float64 }

func loadPond(t testing.TB, name string) *pond {
	t.Helper()
	of, err := known.Load(os.DirFS(known.Dir), name)
	if err != nil {
		t.Fatal(err)
	}
	p := &pond{name: name, shore: of.Shore, truth: of.Truth}
	for _, s := range of.Soundings {
		p.soundings = append(p.soundings, bed.Sounding{At: p.shore.Frame().ToPlane(s.At), DepthM: s.DepthM, Time: s.Time, Seq: s.Seq})
	}
	for _, c := range of.Checks {
		p.checks = append(p.checks, check{c.At, c.DepthM})
	}
	for _, l := range of.Levels {
		p.levels = append(p.levels, level{l.DrawdownM, l.AreaM2, l.VolumeM3})
	}
	return p
}
