package trial

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"sync"
	"testing"

	"pondwright/geo/bed"
	"pondwright/geo/plane"
)

const grids = "../../../geo/curve/testdata"

var loadPonds = sync.OnceValues(func() ([]*Pond, error) { return Ponds("testdata", grids) })

func allPonds(t testing.TB) []*Pond {
	t.Helper()
	ponds, err := loadPonds()
	if err != nil {
		t.Fatal(err)
	}
	return ponds
}

func pondNamed(t testing.TB, name string) *Pond {
	t.Helper()
	for _, p := range allPonds(t) {
		if p.Name == name {
			return p
		}
	}
	t.Fatalf("no pond %q", name)
	return nil
}

func TestPonds_RangeOfFarmPonds(t *testing.T) {
	t.Parallel()
	terrain, islands := 0, 0
	for _, p := range allPonds(t) {
		if rel := float64(p.Shore.Area())/p.AreaM2 - 1; math.Abs(rel) > 1e-5 {
			t.Errorf("%s: the outline holds %+.4f %% of the bed's area", p.Name, 100*rel)
		}
		if acres := p.Shore.Area().Acres(); acres < 1.99 || acres > 401 || p.MaxM < 2.49 || p.MaxM > 12.01 {
			t.Errorf("%s: %.1f acres and %.1f m deep, want 2 to 400 and 2.5 to 12", p.Name, acres, p.MaxM)
		}
		for _, c := range p.Checks {
			if !p.Shore.Contains(c.At) {
				if away, _ := p.Shore.Nearest(c.At); away > 0.01 {
					t.Errorf("%s: a check place lies %.2f m ashore", p.Name, away)
				}
			}
		}
		if p.Terrain {
			terrain++
			if p.Islands > 0 {
				islands++
			}
		}
	}
	if terrain < 16 || islands < 4 {
		t.Errorf("%d ponds of terrain, %d with islands; want at least 16 and 4", terrain, islands)
	}
}

// The closed forms of the solids, recomputed: the grid's chords may take a tenth
// of a percent.
func TestPonds_Solids(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		mean float64 // mean depth as a share of the greatest
	}{
		{"cone", 1.0 / 3},
		{"paraboloid", 1.0 / 2},
	} {
		p := pondNamed(t, tt.name)
		if got := p.VolumeM3 / p.AreaM2 / p.MaxM; math.Abs(got/tt.mean-1) > 0.001 {
			t.Errorf("%s: mean depth is %.5f of the greatest, want %.5f", tt.name, got, tt.mean)
		}
	}
}

// A second way to the same truth: the mean depth at places drawn at random over
// the box, whose standard error is about 0.5 %.
func TestBottom_MeasureAgreesWithSampling(t *testing.T) {
	t.Parallel()
	for _, p := range allPonds(t) {
		rng := rand.New(rand.NewPCG(9, 9))
		b := p.bed
		w, h := float64(b.nx-1)*b.cellM, float64(b.ny-1)*b.cellM
		const n = 60000
		var wet, sum float64
		for range n {
			if d := b.at(b.origin.Add(plane.Point{X: w * rng.Float64(), Y: h * rng.Float64()})); d > 0 {
				wet, sum = wet+1, sum+d
			}
		}
		area, volume := wet/n*w*h, sum/n*w*h
		if math.Abs(area/p.AreaM2-1) > 0.03 || math.Abs(volume/p.VolumeM3-1) > 0.03 {
			t.Errorf("%s: sampled %.0f m² and %.0f m³, measured %.0f and %.0f", p.Name, area, volume, p.AreaM2, p.VolumeM3)
		}
	}
}

func TestSound_SeededAndSpikesChangeNothingElse(t *testing.T) {
	t.Parallel()
	p := pondNamed(t, "tennessee 7")
	clean := p.Sound(Survey{Lines: 14, Seed: 3})
	again := p.Sound(Survey{Lines: 14, Seed: 3})
	spiked := p.Sound(Survey{Lines: 14, Seed: 3, Spikes: 0.05})
	lagged := p.Sound(Survey{Lines: 14, Seed: 3, LagS: 1.2})
	other := p.Sound(Survey{Lines: 14, Seed: 4})
	if len(clean) < 500 || len(clean) != len(again) || len(clean) != len(spiked) || len(clean) != len(lagged) {
		t.Fatalf("%d, %d, %d and %d soundings", len(clean), len(again), len(spiked), len(lagged))
	}
	changed, moved := 0, 0.0
	for k := range clean {
		if clean[k] != again[k] {
			t.Fatalf("sounding %d differs between two runs", k)
		}
		if clean[k].At != spiked[k].At || clean[k].DepthM != lagged[k].DepthM {
			t.Fatalf("sounding %d: spikes moved it or a lag changed its depth", k)
		}
		if clean[k].DepthM != spiked[k].DepthM {
			changed++
		}
		moved = max(moved, clean[k].At.Distance(lagged[k].At))
	}
	if share := float64(changed) / float64(len(clean)); share < 0.03 || share > 0.07 {
		t.Errorf("%.1f %% are spikes, want about 5", 100*share)
	}
	if math.Abs(moved-1.2*speedMPS) > 1e-3 {
		t.Errorf("a lag of 1.2 s moves soundings %.3f m, want %.3f", moved, 1.2*speedMPS)
	}
	if other[len(other)/2] == clean[len(clean)/2] {
		t.Error("another seed gives the same soundings")
	}
}

// A triangulation of a plane's own values is that plane; and one of a pond is
// low, which is why the estimator exists.
func TestPlain_ReproducesAPlaneAndReadsLow(t *testing.T) {
	t.Parallel()
	p := pondNamed(t, "tennessee 9")
	soundings := p.Sound(Survey{Lines: 28, Seed: 1})
	tilt := func(q plane.Point) float64 { return 50 + 0.01*q.X - 0.02*q.Y }
	flat := append([]bed.Sounding(nil), soundings...)
	for k := range flat {
		flat[k].DepthM = tilt(flat[k].At)
	}
	s := newPlain(p.Shore, flat)
	var area int64
	for _, v := range s.v {
		double := s.side(v[0], v[1], s.x[v[2]], s.y[v[2]])
		if double < 0 {
			t.Fatal("a triangle is turned over")
		}
		area += double
	}
	if all := s.side(0, 1, s.x[2], s.y[2]); area != all {
		t.Errorf("triangles make up %d of %d mm²", area/2, all/2)
	}
	inside := 0
	for _, c := range p.Checks {
		x, y := s.lattice(c.At)
		v := s.v[s.walk(x, y)]
		if s.depthM[v[0]] > 0 && s.depthM[v[1]] > 0 && s.depthM[v[2]] > 0 {
			inside++
			if got := s.at(c.At); math.Abs(got-tilt(c.At)) > 1e-3 {
				t.Fatalf("depth %.4f m on the plane, want %.4f", got, tilt(c.At))
			}
		}
	}
	if inside < 500 {
		t.Errorf("only %d check places lie between soundings", inside)
	}
	if rel := newPlain(p.Shore, soundings).volumeM3()/p.VolumeM3 - 1; rel > -0.005 || rel < -0.08 {
		t.Errorf("volume is off by %+.1f %%, want a little low", 100*rel)
	}
}

// each runs f for 0 … n−1 on all processors.
func each(n int, f func(k int)) {
	next := make(chan int)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for k := range next {
				f(k)
			}
		})
	}
	for k := range n {
		next <- k
	}
	close(next)
	wait.Wait()
}

// The short count: seven ponds, one survey of fourteen lines each, a coarse grid.
// The limits are loose enough for single surveys and tight enough that an
// estimator that merely interpolates, whose volumes are 4 to 20 % low, fails.
func TestEstimator_Short(t *testing.T) {
	t.Parallel()
	names := []string{"two basins and a sill", "wedge", "tennessee 5", "tennessee 8", "olinda 3", "topobathy 3", "chesapeake 4"}
	scores := make([]Score, len(names))
	each(len(names), func(k int) {
		p := pondNamed(t, names[k])
		soundings := p.Sound(Survey{Lines: 14, Seed: uint64(k), Spikes: 0.03})
		var err error
		if scores[k], err = p.Score(soundings, bed.Options{SpacingM: math.Sqrt(p.AreaM2) / 50}); err != nil {
			t.Errorf("%s: %v", p.Name, err)
		}
	})
	if t.Failed() {
		return
	}
	var off, ratio float64
	held := 0
	for k, s := range scores {
		t.Logf("%-22s volume %+.2f %% ± %.2f, depth RMSE %.3f m; triangulated %+.2f %%, %.3f m", names[k],
			100*s.Error, 100*s.Half95, s.DepthRMSEM, 100*s.Plain.Error, s.Plain.DepthRMSEM)
		off += math.Abs(s.Error) / float64(len(scores))
		ratio += s.DepthRMSEM / s.Plain.DepthRMSEM / float64(len(scores))
		if s.Holds95 {
			held++
		}
		if math.Abs(s.Error) > 0.05 {
			t.Errorf("%s: volume off by %+.1f %%, want within 5", names[k], 100*s.Error)
		}
	}
	if off > 0.02 || ratio > 0.7 || held < len(scores)-1 {
		t.Errorf("mean |error| %.2f %%, depth RMSE %.2f of a triangulation's, interval held %d of %d; want at most 2, 0.7, and at least %d",
			100*off, ratio, held, len(scores), len(scores)-1)
	}
}

const surveyed = "../../../geo/bed/testdata"

// The triangulation must be a fair yardstick: within a little of another
// program's on the same soundings (values in truth.json, recorded with the
// soundings). Where the water parts a triangle the two may differ.
func TestPlain_AgreesWithAnotherProgram(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"O1_bowl", "O2_valley20", "O3_arms30", "O4_dense60"} {
		p, err := LoadSurveyed(filepath.Join(surveyed, name))
		if err != nil {
			t.Fatal(err)
		}
		s := newPlain(p.Shore, p.Soundings)
		off := s.volumeM3()/p.VolumeM3 - 1
		var squares float64
		for _, c := range p.Checks {
			squares += math.Pow(s.at(c.At)-c.DepthM, 2)
		}
		rmse := math.Sqrt(squares / float64(len(p.Checks)))
		t.Logf("%s: %+.2f %%, %.3f m; the other %+.2f %%, %.3f m", name, 100*off, rmse, 100*p.Plain.Error, p.Plain.DepthRMSEM)
		if math.Abs(off-p.Plain.Error) > 0.005+0.05*math.Abs(p.Plain.Error) || math.Abs(rmse/p.Plain.DepthRMSEM-1) > 0.15 {
			t.Errorf("%s: volume %+.2f %%, depth RMSE %.3f m; want about %+.2f %%, %.3f m", name, 100*off, rmse, 100*p.Plain.Error, p.Plain.DepthRMSEM)
		}
	}
}
