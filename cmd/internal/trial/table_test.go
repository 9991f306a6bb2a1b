//go:build trial

package trial

import (
	"cmp"
	"flag"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"pondwright/geo/bed"
)

var (
	perDensity = flag.Int("surveys", 5, "surveys per pond and density")
	perDoubt   = flag.Int("doubts", 9, "surveys per pond for the interval")
	results    = flag.String("results", "RESULTS.md", "file for the tables; empty for none")
)

var densities = []int{8, 14, 28}

// run is one survey of one pond.
type run struct {
	pond   int
	survey Survey
	count  int // of soundings
	score  Score
}

// scores runs every survey.
func scores(t *testing.T, ponds []*Pond, runs []run) {
	t.Helper()
	done := make(chan struct{}, len(runs))
	began := time.Now()
	go each(len(runs), func(k int) {
		r := &runs[k]
		soundings := ponds[r.pond].Sound(r.survey)
		r.count = len(soundings)
		var err error
		if r.score, err = ponds[r.pond].Score(soundings, bed.Options{}); err != nil {
			t.Errorf("%s, %+v: %v", ponds[r.pond].Name, r.survey, err)
		}
		done <- struct{}{}
	})
	for k := range runs {
		<-done
		if (k+1)%50 == 0 {
			t.Logf("%d of %d surveys, %.0f s", k+1, len(runs), time.Since(began).Seconds())
		}
	}
}

// pick returns the runs for which keep holds.
func pick(runs []run, keep func(r *run) bool) []run {
	var out []run
	for k := range runs {
		if keep(&runs[k]) {
			out = append(out, runs[k])
		}
	}
	return out
}

// perPond returns the mean of f over each pond's runs, by pond.
func perPond(runs []run, f func(s *Score) float64) map[int]float64 {
	sum, n := map[int]float64{}, map[int]float64{}
	for k := range runs {
		sum[runs[k].pond] += f(&runs[k].score)
		n[runs[k].pond]++
	}
	for k := range sum {
		sum[k] /= n[k]
	}
	return sum
}

// overall returns the mean over ponds, each with equal weight.
func overall(runs []run, f func(s *Score) float64) float64 {
	by := perPond(runs, f)
	var sum float64
	for _, k := range slices.Sorted(maps.Keys(by)) {
		sum += by[k]
	}
	return sum / float64(len(by))
}

func absError(s *Score) float64   { return 100 * math.Abs(s.Error) }
func signed(s *Score) float64     { return 100 * s.Error }
func plainError(s *Score) float64 { return 100 * math.Abs(s.Plain.Error) }

// rmsePart and plainPart are depth errors in percent of the greatest depth.
func rmsePart(p []*Pond, r *run) float64  { return 100 * r.score.DepthRMSEM / p[r.pond].MaxM }
func plainPart(p []*Pond, r *run) float64 { return 100 * r.score.Plain.DepthRMSEM / p[r.pond].MaxM }

// rmseRatio returns the mean depth error of the estimate over that of the
// triangulation, ponds weighing the same.
func rmseRatio(ponds []*Pond, runs []run) float64 {
	var ours, plain float64
	for k := range runs {
		ours += rmsePart(ponds, &runs[k])
		plain += plainPart(ponds, &runs[k])
	}
	return ours / plain
}

// report gathers the page.
type report struct {
	strings.Builder
	targets []string
	missed  int
}

func (r *report) line(format string, args ...any) { fmt.Fprintf(r, format+"\n", args...) }

// target notes a number beside what it should be.
func (r *report) target(what string, got float64, want string, met bool) {
	verdict := "met"
	if !met {
		verdict = "**missed**"
		r.missed++
	}
	r.targets = append(r.targets, fmt.Sprintf("| %s | %.2f | %s | %s |", what, got, want, verdict))
}

func TestTable(t *testing.T) { //nolint:paralleltest // fills the machine by itself
	ponds := allPonds(t)
	top := head("How good the bed is", "go test -tags trial ./cmd/internal/trial -run TestTable -v -timeout 3h", len(ponds))
	var runs []run
	for k := range ponds {
		for _, lines := range densities {
			for n := range *perDensity {
				runs = append(runs, run{pond: k, survey: Survey{Lines: lines, Seed: uint64(1000*lines + n)}})
			}
		}
		for n := range *perDensity {
			runs = append(runs, run{pond: k, survey: Survey{Lines: 14, Seed: uint64(14000 + n), Spikes: 0.05}})
		}
		for n := range *perDoubt {
			runs = append(runs, run{pond: k, survey: Survey{
				Lines: []int{9, 12, 16}[n%3], Turned: n%2 == 1, Seed: uint64(500 + n),
				Spikes: []float64{0, 0, 0.03}[n/3%3],
			}})
		}
	}
	scores(t, ponds, runs)
	if t.Failed() {
		return
	}
	square := pick(runs, func(r *run) bool { return r.survey.Seed >= 8000 && r.survey.Spikes == 0 })
	spiked := pick(runs, func(r *run) bool { return r.survey.Seed >= 8000 && r.survey.Spikes > 0 })
	doubts := pick(runs, func(r *run) bool { return r.survey.Seed < 8000 })
	var r report
	accuracy(&r, ponds, square)
	spikes(&r, square, spiked)
	intervals(&r, ponds, doubts)
	given(t, &r)
	byPond(&r, ponds, square, doubts)
	worst(&r, ponds, runs)
	causes(t, &r, ponds, square)
	page := top + fmt.Sprintf("\n%d surveys: %d of each pond at each number of lines, %d for the interval.\n", len(runs), *perDensity, *perDoubt) + "\n## Against the targets\n\n| | got | target | |\n|---|---|---|---|\n" + strings.Join(r.targets, "\n") + "\n" + r.String()
	t.Logf("%d targets missed\n%s", r.missed, page)
	if *results != "" {
		if err := os.WriteFile(*results, []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// head says what was run where. It is asked for before the run, while the commit
// is still the one that was built.
func head(title, command string, ponds int) string {
	commit := "unknown"
	if out, err := exec.Command("git", "rev-parse", "--short", "HEAD").Output(); err == nil {
		commit = strings.TrimSpace(string(out))
		if out, err := exec.Command("git", "status", "--porcelain", "--", "../../../geo", ".").Output(); err == nil && len(out) > 0 {
			commit += " with changes"
		}
	}
	cpu := ""
	if data, err := os.ReadFile("/proc/cpuinfo"); err == nil {
		for l := range strings.Lines(string(data)) {
			if name, ok := strings.CutPrefix(l, "model name"); ok {
				cpu = ", " + strings.Trim(name, "\t :\n")
				break
			}
		}
	}
	return fmt.Sprintf(`# %s

Simulated surveys of %d ponds whose bed is known. Made by

    %s

- Date: %s
- Commit: %s
- Machine: %d cores%s, %s

Errors of the volume are in percent of the true one. A pond counts once, however many its surveys. The spacing of the lines is the pond's length over the number given; lines run straight and do not enter side arms.
`, title, ponds, command, time.Now().UTC().Format(time.DateOnly), commit, runtime.NumCPU(), cpu, runtime.Version())
}

func accuracy(r *report, ponds []*Pond, runs []run) {
	want := map[int][3]float64{8: {1.5, 1.2, 0.47}, 14: {0.9, 0.8, 0.58}, 28: {0.6, 0.5, 0.75}}
	r.line("\n## Volume and depth by number of lines\n")
	r.line("RMSE is that of the depth in percent of the greatest depth.\n")
	r.line("| ponds | lines | mean absolute error | bias | worst pond | worst survey | RMSE | triangulated: error | RMSE | RMSE ratio |")
	r.line("|---|---|---|---|---|---|---|---|---|---|")
	for _, group := range []struct {
		name string
		keep func(p *Pond) bool
	}{
		{"all", func(*Pond) bool { return true }},
		{"terrain", func(p *Pond) bool { return p.Terrain }},
		{"solids", func(p *Pond) bool { return !p.Terrain }},
	} {
		for _, lines := range densities {
			some := pick(runs, func(x *run) bool { return x.survey.Lines == lines && group.keep(ponds[x.pond]) })
			mean := overall(some, absError)
			most, single := 0.0, 0.0
			for _, v := range perPond(some, absError) {
				most = max(most, v)
			}
			var ours, plain float64
			for k := range some {
				single = max(single, absError(&some[k].score))
				ours += rmsePart(ponds, &some[k]) / float64(len(some))
				plain += plainPart(ponds, &some[k]) / float64(len(some))
			}
			r.line("| %s | %d | %.2f | %+.2f | %.2f | %.2f | %.2f | %.2f | %.2f | %.2f |", group.name, lines, mean,
				overall(some, signed), most, single, ours, overall(some, plainError), plain, ours/plain)
			if group.name != "all" {
				continue
			}
			w := want[lines]
			r.target(fmt.Sprintf("mean absolute volume error at %d lines, %%", lines), mean, fmt.Sprintf("≤ %.1f (stretch %.1f)", w[0], w[1]), mean <= w[0])
			if lines == 14 {
				r.target("worst pond at 14 lines, %", most, "≤ 4", most <= 4)
			}
			r.target(fmt.Sprintf("depth RMSE relative to the triangulation at %d lines", lines), ours/plain, fmt.Sprintf("≤ %.2f", w[2]), ours/plain <= w[2])
		}
	}
}

func spikes(r *report, square, spiked []run) {
	clean := pick(square, func(x *run) bool { return x.survey.Lines == 14 })
	a, b := overall(clean, absError), overall(spiked, absError)
	r.line("\n## Five soundings in a hundred spoiled\n")
	r.line("The same surveys at 14 lines, otherwise unchanged.\n")
	r.line("| | clean | spoiled |")
	r.line("|---|---|---|")
	r.line("| mean absolute error | %.2f | %.2f |", a, b)
	depth := func(s *Score) float64 { return s.DepthRMSEM }
	plain := func(s *Score) float64 { return s.Plain.DepthRMSEM }
	r.line("| depth RMSE, m | %.3f | %.3f |", overall(clean, depth), overall(spiked, depth))
	r.line("| triangulated: mean absolute error | %.2f | %.2f |", overall(clean, plainError), overall(spiked, plainError))
	r.line("| triangulated: depth RMSE, m | %.3f | %.3f |", overall(clean, plain), overall(spiked, plain))
	r.target("5 % spikes add to the mean absolute error, points", b-a, "≤ 0.1", b-a <= 0.1)
}

func intervals(r *report, ponds []*Pond, runs []run) {
	by := make([][]Doubt, len(ponds))
	var halves []float64
	in95, in80 := 0, 0
	for k := range runs {
		s := &runs[k].score
		by[runs[k].pond] = append(by[runs[k].pond], s.Doubt)
		if s.Holds95 {
			in95++
		}
		if s.Holds80 {
			in80++
		}
		halves = append(halves, 100*s.Half95)
	}
	slices.Sort(halves)
	n := float64(len(runs))
	r.line("\n## The interval\n")
	r.line("%d surveys of 9, 12 and 16 lines, half at random headings, a third with 3 %% spikes. “Left out” fits the factor of the leave-one-line-out part on all other ponds; “as shipped” is what the estimator printed. Ranges hold 95 of 100 draws of whole ponds with replacement.\n", len(runs))
	r.line("| factor | 95 %% holds | range | 80 %% holds | range | median half-width of 95 %% | mean |")
	r.line("|---|---|---|---|---|---|---|")
	r.line("| as shipped | %.1f | | %.1f | | %.2f | %.2f |", 100*float64(in95)/n, 100*float64(in80)/n, halves[len(halves)/2], mean(halves))
	row := func(name string, factor []float64) (float64, float64, float64) {
		c95, c80 := coverage(by, factor)
		r95, r80 := bootstrap(by, factor, 1)
		var halves []float64
		for k := range by {
			for i := range by[k] {
				halves = append(halves, 100*by[k][i].half(factor[k], z95))
			}
		}
		slices.Sort(halves)
		r.line("| %s | %.1f | %.1f–%.1f | %.1f | %.1f–%.1f | %.2f | %.2f |", name, 100*c95, 100*r95[0], 100*r95[1], 100*c80, 100*r80[0], 100*r80[1], halves[len(halves)/2], mean(halves))
		return 100 * c95, 100 * c80, halves[len(halves)/2]
	}
	factor := leavePondOut(by)
	sorted := slices.Sorted(slices.Values(factor))
	c95, c80, half := row(fmt.Sprintf("left out: %.2f–%.2f, median %.2f", sorted[0], sorted[len(sorted)-1], sorted[len(sorted)/2]), factor)
	fitted := fitFactor(by)
	for _, c := range []float64{0, 0.2, 0.3, 0.4, 0.5, 0.6, fitted} {
		all := make([]float64, len(by))
		for k := range all {
			all[k] = c
		}
		name := fmt.Sprintf("%.2f everywhere", c)
		if c == fitted {
			name += " (fitted on all)"
		}
		row(name, all)
	}
	r.target("95 % interval holds, factor fitted with the pond left out, %", c95, "92–99", c95 >= 92 && c95 <= 99)
	r.target("80 % interval holds, likewise, %", c80, "76–93", c80 >= 76 && c80 <= 93)
	r.target("median half-width of the 95 % interval, %", half, "≤ 2.6", half <= 2.6)
}

func mean(v []float64) float64 {
	var sum float64
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// given scores the ponds that come with their soundings.
func given(t *testing.T, r *report) {
	r.line("\n## The four ponds that come with soundings\n")
	r.line("| pond | soundings | error | 95 %% interval | holds | depth RMSE, m | triangulated: error | RMSE, m | seconds |")
	r.line("|---|---|---|---|---|---|---|---|---|")
	for _, c := range []struct {
		name string
		most float64 // percent
	}{{"O1_bowl", 0.4}, {"O2_valley20", 0.8}, {"O3_arms30", 1.5}, {"O4_dense60", 0.25}} {
		p, err := LoadSurveyed(filepath.Join(surveyed, c.name))
		if err != nil {
			t.Fatal(err)
		}
		s, err := p.Score(p.Soundings, bed.Options{})
		if err != nil {
			t.Fatal(err)
		}
		r.line("| %s | %d | %+.2f | ± %.2f | %v | %.3f | %+.2f | %.3f | %.2f |", c.name, len(p.Soundings), 100*s.Error, 100*s.Half95, s.Holds95,
			s.DepthRMSEM, 100*s.Plain.Error, s.Plain.DepthRMSEM, s.Took.Seconds())
		r.target(c.name+" volume error, %", 100*math.Abs(s.Error), fmt.Sprintf("≤ %.2f", c.most), 100*math.Abs(s.Error) <= c.most)
	}
}

// byPond lists every pond.
func byPond(r *report, ponds []*Pond, square, doubts []run) {
	r.line("\n## Pond by pond\n")
	r.line("“Far” is the water farther from every sounding than the lines are apart, at 14 lines, and the part of the volume's error that comes from there; “shoals” is the water too shallow for the boat to sound (0.3 m, or a tenth of the greatest depth if that is less), likewise.\n")
	r.line("| pond | acres | deepest, m | islands | 8 lines | 14 | 28 | bias at 14 | of it far | far share, %% | of it shoals | shoal share, %% | RMSE ratio at 14 | 95 %% holds |")
	r.line("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|")
	for k, p := range ponds {
		var cells []string
		for _, lines := range densities {
			some := pick(square, func(x *run) bool { return x.pond == k && x.survey.Lines == lines })
			cells = append(cells, fmt.Sprintf("%.2f", overall(some, absError)))
		}
		some := pick(square, func(x *run) bool { return x.pond == k && x.survey.Lines == 14 })
		held, n := 0, 0
		for i := range doubts {
			if doubts[i].pond == k {
				n++
				if doubts[i].score.Holds95 {
					held++
				}
			}
		}
		r.line("| %s | %.1f | %.1f | %d | %s | %+.2f | %+.2f | %.0f | %+.2f | %.0f | %.2f | %d of %d |", p.Name, p.Shore.Area().Acres(), p.MaxM, p.Islands, strings.Join(cells, " | "),
			overall(some, signed), overall(some, func(s *Score) float64 { return 100 * s.FarError }),
			overall(some, func(s *Score) float64 { return 100 * s.FarShare }), overall(some, func(s *Score) float64 { return 100 * s.ShoalError }),
			overall(some, func(s *Score) float64 { return 100 * s.ShoalShare }), rmseRatio(ponds, some), held, n)
	}
}

// causes repeats the surveys of the three ponds that miss most at 14 lines
// without the errors of the instruments, and with the shoals sounded.
func causes(t *testing.T, r *report, ponds []*Pond, square []run) {
	at14 := pick(square, func(x *run) bool { return x.survey.Lines == 14 })
	by := perPond(at14, absError)
	order := make([]int, len(ponds))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(by[b], by[a]) })
	order = order[:min(3, len(order))]
	ways := []Survey{{}, {Exact: true}, {Shoals: true}, {Exact: true, Shoals: true}}
	var again []run
	for _, k := range order {
		for w, way := range ways {
			for i := range at14 {
				if w > 0 && at14[i].pond == k {
					way.Lines, way.Seed = 14, at14[i].survey.Seed
					again = append(again, run{pond: k, survey: way})
				}
			}
		}
	}
	scores(t, ponds, again)
	again = append(again, at14...)
	r.line("\n## Why the three worst ponds miss\n")
	r.line("The surveys at 14 lines again: with exact positions and depths, with a boat that sounds right up to the shore, and with both. Mean error, and in brackets mean absolute error.\n")
	r.line("| pond | as surveyed | exact | shoals sounded | both |\n|---|---|---|---|---|")
	for _, k := range order {
		var cells []string
		for _, way := range ways {
			some := pick(again, func(x *run) bool {
				return x.pond == k && x.survey.Exact == way.Exact && x.survey.Shoals == way.Shoals
			})
			cells = append(cells, fmt.Sprintf("%+.2f (%.2f)", overall(some, signed), overall(some, absError)))
		}
		r.line("| %s | %s |", ponds[k].Name, strings.Join(cells, " | "))
	}
}

// worst lists the surveys that missed most.
func worst(r *report, ponds []*Pond, runs []run) {
	sorted := slices.Clone(runs)
	slices.SortStableFunc(sorted, func(a, b run) int { return cmp.Compare(absError(&b.score), absError(&a.score)) })
	r.line("\n## The fifteen worst surveys\n")
	r.line("| pond | lines | turned | spikes, %% | soundings | error | of it far | far share, %% | ± 95 %% | holds | lines found | lag, s | applied | triangulated |")
	r.line("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|")
	for k := range min(15, len(sorted)) {
		x := &sorted[k]
		s, d := &x.score, &x.score.Diagnostics
		r.line("| %s | %d | %v | %.0f | %d | %+.2f | %+.2f | %.0f | %.2f | %v | %d | %.2f ± %.2f | %v | %+.1f |", ponds[x.pond].Name, x.survey.Lines, x.survey.Turned, 100*x.survey.Spikes, x.count,
			100*s.Error, 100*s.FarError, 100*s.FarShare, 100*s.Half95, s.Holds95, d.Lines, d.LagS, d.LagSDS, d.LagApplied, 100*s.Plain.Error)
	}
	var took time.Duration
	lagged := 0
	for k := range runs {
		took += runs[k].score.Took
		if runs[k].score.Diagnostics.LagApplied {
			lagged++
		}
	}
	r.line("\nA position lag was applied in %d of %d surveys, none of which has one. An estimate took %.2f s on average, two at a time.", lagged, len(runs), took.Seconds()/float64(len(runs)))
}
