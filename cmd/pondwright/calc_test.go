package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pondwright/calc/plume"
	"pondwright/calc/sound"
	"pondwright/calc/unit"
)

var updateGolden = flag.Bool("update", false, "write golden files anew")

// calcFiles are the files that examples name: a five-acre pond, 15 ft deep, of
// the form A0 (1 − d/D)^0.875, with 28 over 14 °C; three runs and a made-up
// machine.
func calcFiles(t *testing.T) map[string]string {
	t.Helper()
	curve := "depth_ft,area_acres\n"
	for i := range 501 {
		curve += fmt.Sprintf("%.6f,%.9f\n", 15*float64(i)/500, 5*math.Pow(1-float64(i)/500, 0.875))
	}
	// Twelve crossings, the check line 0.03 m deeper than the main line by turns of
	// 0.01 and 0.05 m.
	crossings := "main_m,check_m\n"
	for i := range 12 {
		crossings += fmt.Sprintf("%.2f,%.2f\n", 2+0.1*float64(i), 2+0.1*float64(i)+0.01+0.04*float64(i%2))
	}
	// A line over an invented bed, run both ways at 1.5 m/s with positions that lag
	// by 0.8 s.
	var run [2]string
	for way, v := range []float64{1.5, -1.5} {
		run[way] = "distance_m,depth_m\n"
		for i := range 120 {
			x := float64(i)
			run[way] += fmt.Sprintf("%.3f,%.4f\n", x-v*0.8, 2+1.2*math.Sin(x/11)+0.4*math.Sin(x/4.3))
		}
	}
	dir := t.TempDir()
	files := map[string]string{
		"crossings.csv":  crossings,
		"out.csv":        run[0],
		"back.csv":       run[1],
		"curve.csv":      curve,
		"profile.csv":    "depth_m,temp_c,oxygen_mg_l\n0,28,8\n1.8,28,8\n2.3,14,0\n4.3,14,0\n",
		"runs.csv":       "name,length_ft,bore_in,depth_ft,opening_psi,per_scfm_psi\nnear,250,0.500,8,0.25,0.12\nmiddle,400,0.500,12,0.25,0.12\ndeep,600,0.622,15,0.25,0.12\n",
		"staff.csv":      "time,height_m\n2026-06-01T08:00:00Z,1.24\n2026-06-01T08:00:00Z,1.26\n2026-06-01T09:00:00Z,1.23\n2026-06-01T10:00:00Z,1.20\n",
		"compressor.csv": "pressure_psi,air_scfm\n0,5\n5,4.5\n10,4\n15,3.4\n20,2.7\n25,1.8\n",
	}
	out := make(map[string]string)
	for name, content := range files {
		out[name] = filepath.Join(dir, name)
		if err := os.WriteFile(out[name], []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// calcArgs cuts a command line at its spaces, quotes kept together, and puts in
// the paths of files.
func calcArgs(line string, files map[string]string) []string {
	args := []string{"calc"}
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			args = append(args, part)
			continue
		}
		args = append(args, strings.Fields(part)...)
	}
	for i, a := range args {
		if path, ok := files[a]; ok {
			args[i] = path
		}
	}
	return args
}

// calcSheet is what --json prints.
type calcSheet struct {
	Calculation string           `json:"calculation"`
	Inputs      map[string]any   `json:"inputs"`
	Defaults    []string         `json:"defaults"`
	Results     map[string]any   `json:"results"`
	Steps       []map[string]any `json:"steps"`
	Notes       []string         `json:"notes"`
	Cautions    []string         `json:"cautions"`
	Sources     []source         `json:"sources"`
	HoldsFor    []string         `json:"holdsFor"`
	SettingsOf  []string         `json:"settingsOf"`
}

func (s calcSheet) step(key string) float64 {
	for _, step := range s.Steps {
		if v, ok := step[key].(float64); ok {
			return v
		}
	}
	return math.NaN()
}

func calcJSON(t *testing.T, files map[string]string, line string) calcSheet {
	t.Helper()
	out, _ := mustRun(t, append(calcArgs(line, files), "--json")...)
	return decode[calcSheet](t, out)
}

// TestCalc_Examples runs the example of every calculation, as prose in both
// units, as explanation and as data, and holds the four against one another.
func TestCalc_Examples(t *testing.T) {
	t.Parallel()
	files := calcFiles(t)
	for _, g := range calcGroups() {
		for _, c := range g.list {
			t.Run(c.name, func(t *testing.T) {
				t.Parallel()
				if !strings.HasPrefix(c.example, c.name+" ") {
					t.Fatalf("example %q is of another command", c.example)
				}
				sheet := calcJSON(t, files, c.example)
				if sheet.Calculation != c.name || len(sheet.Sources) == 0 || len(sheet.HoldsFor) == 0 || len(sheet.Steps) == 0 || len(sheet.Inputs) == 0 {
					t.Errorf("incomplete: %+v", sheet)
				}
				for _, u := range []unitSystem{usUnits, siUnits} {
					args := append(calcArgs(c.example, files), "--units", u.String())
					prose, _ := mustRun(t, args...)
					explained, _ := mustRun(t, append(args, "--explain")...)
					for _, s := range sheet.Sources {
						if !strings.Contains(explained, s.Source) || !strings.Contains(explained, string(s.Mark)) {
							t.Errorf("explanation lacks the source %v", s)
						}
					}
					for _, step := range sheet.Steps {
						if !strings.Contains(explained, step["formula"].(string)) {
							t.Errorf("explanation lacks %v", step)
						}
					}
					for _, caution := range sheet.Cautions {
						if !strings.Contains(prose, caution) {
							t.Errorf("prose lacks the caution %q", caution)
						}
					}
					for key, v := range sheet.Results {
						got, ok := v.(float64)
						if !ok {
							continue
						}
						ways := calcPrinted(t, key, got, u)
						if !slices.ContainsFunc(ways, func(text string) bool { return strings.Contains(prose, text) }) {
							t.Errorf("prose in %s lacks %s: %q\n%s", u.String(), key, ways, prose)
						}
					}
				}
			})
		}
	}
}

// calcPrinted prints a datum as prose does, in each way that the unit in its key
// may stand for.
func calcPrinted(t *testing.T, key string, v float64, u unitSystem) []string {
	t.Helper()
	var best string
	var out []string
	for _, d := range calcDimensions() {
		if !strings.HasSuffix(key, d.key) || len(d.key) < len(best) {
			continue
		}
		if len(d.key) > len(best) {
			best, out = d.key, nil
		}
		si := v
		if d.data.toSI != nil {
			si = d.data.toSI(v)
		}
		out = append(out, d.print(si, u))
	}
	return out
}

// TestCalc_CheckValues holds each command against a check value that the tests
// of its package hold too.
func TestCalc_CheckValues(t *testing.T) {
	t.Parallel()
	files := calcFiles(t)
	for _, tt := range []struct {
		line, key string
		want, tol float64
		source    string
	}{
		{"density --temp 20C", "densityKgPerM3", 998.2067, 1e-4, "Tanaka et al., Metrologia 38, 2001, published value"},
		{"oxygen --temp 25C", "saturationMgPerL", 8.263, 0.002, "Standard Methods 4500-O table, recomputed; EN 25814: 8.26"},
		{"oxygen --temp 20C --altitude 500m", "saturationMgPerL", 8.554, 0.015, "recomputed with the pressure of 500 m, terms from memory"},
		{"layers --profile profile.csv --curve curve.csv", "stabilityJPerM2", 31.61, 0.16, "Idso 1973 on the five-acre pond, recomputed"},
		{"layers --profile profile.csv --curve curve.csv", "volumeM3", 49339, 10, "A0 D/(p + 1), closed form"},
		{"overturn --profile profile.csv --curve curve.csv --demand 0mg/L", "temperatureC", 23.37, 0.05, "Σ Ti Vi/V of the five-acre pond, recomputed"},
		{"lift --air 1scfm --depth 4.3m --temp 20C", "upperM3PerS", 0.14068, 0.005 * 0.14068, "Kobus 1968 and Lorenzen & Fast 1977, constants from memory, recomputed"},
		{"lift --air 1scfm --depth 4.3m --temp 20C", "promisedM3PerS", 0.1125, 0.005 * 0.1125, "0.8 × the closed form, recomputed"},
		{"lift --air 1scfm --depth 4.3m", "airPowerW", 16.642, 0.01 * 16.642, "isothermal expansion, recomputed"},
		{"turnover --volume 40acre-ft --diffusers 4 --air 1scfm --depth 4.3m --hours 24h", "nominalS", 49339 / (4 * 0.1125), 0.005 * 109642, "volume over 4 × 0.8 × Kobus, recomputed"},
		{"destratify --profile profile.csv --curve curve.csv --diffusers 4 --air 1scfm --depth 4.272m --disc 0.23m", "timeS", 54.3 * 3600, 5.4 * 3600, "a separate layer model with its own plume code, recomputed"},
		{"hose --air 3scfm --length 300ft --bore 0.622in --depth 12ft", "tookPaGauge", 0.645 * 6894.757, 0.003 * 6894.757, "Churchill and the isothermal equation, recomputed"},
		{"manifold --runs runs.csv --compressor compressor.csv --pressure 14.696psia --water-density 998.8kg/m3", "manifoldPaGauge", 5.9781 * 6894.757, 0.01 * 6894.757, "three runs at 0.433 psi/ft, recomputed"},
		{"manifold --runs runs.csv --compressor compressor.csv --pressure 14.696psia --water-density 998.8kg/m3 --balance equal", "airStdM3PerS", 3 * 1.4266 * 4.719474e-4, 0.001 * 3 * 1.4266 * 4.719474e-4, "the same, valves set, recomputed"},
		{"compress --air 100scfm --outlet 10psi", "adiabaticW", 1192.0 * 100 / 33000 * 745.6999, 0.01 * 2694, "Machinery's Handbook, 31st ed., table 35"},
		{"relief --normal 8.595psi --rating hose=60psi --rating compressor=15psi", "settingPaGauge", 10.5 * 6894.757, 1, "common practice, no source: 1.2 ×, up to half a psi"},
		{"discharge --outlet 10psi --intake 35C --efficiency 70%", "dischargeC", 105.4, 0.1, "ideal gas, recomputed"},
		{"sun --at 39.742476,-105.1786 --time 2003-10-17T12:30:30-07:00 --temp 11C --pressure 820hPa", "zenithDeg", 50.11162, 0.003, "Reda & Andreas, NREL/TP-560-34302, appendix example"},
		{"sun --at 39.742476,-105.1786 --time 2003-10-17T12:30:30-07:00", "azimuthDeg", 194.340241, 0.01, "Reda & Andreas, NREL/TP-560-34302, appendix example"},
		{"light --at 36.1,-79.95 --tilt 36.1deg --irradiation " + greensboro, "worstWhPerM2", 3607, 0.01 * 3607, "monthly method on TMY3 723170, recomputed by an independent program"},
		{"tilt --at 40,-90", "byLatitudeDeg", 31.53, 0.01, "Jacobson & Jadhav 2018 as in NREL report 95004, table 2, recomputed"},
		{"runhours --at 36.1,-79.95 --tilt 36deg --threshold 400 --irradiation " + greensboro, "meanS", 5.21 * 3600, 0.1 * 3600, "clearness distribution on TMY3 723170, recomputed by an independent program"},
		{"runhours --at 36.1,-79.95 --load 150W --array 400W --irradiation " + greensboro, "thresholdWPerM2", 500, 1e-9, "definition"},
		{"panels --at 36.1,-79.95 --tilt 36deg --load 150W --battery lead-acid --irradiation " + greensboro, "batteryWh", 150 * 24 * 3 / (0.5 * 0.8), 1e-6, "load × days/(depth × efficiency), factors common practice"},
		{"string --open 40V --short 10A --coldest -20C", "coldV", 45.04, 1e-9, "recomputed from the published formula"},
		{"string --open 40V --short 10A --coldest -20C", "conductorA", 15.625, 1e-12, "NEC 690.8(B)(1), 1.5625 times short circuit"},
		{"wire --length 30ft --current 10A --volts 24V --gauge 14", "dropV", 1.884, 1e-3, "NEC chapter 9, table 8, recomputed"},
		{"wire --length 50ft --current 15A --volts 24V", "lossShare", 0.0193, 1e-4, "NEC chapter 9, table 8, recomputed"},
		{"compass --at 33,-118 --altitude 44km --date 2025-07-02", "declinationDeg", 11.10, 0.01, "NOAA NCEI and BGS, test values of the World Magnetic Model 2025 at 2025.5"},
		{"windhours --at 35.6,-97.9 --wind 5m/s,5m/s,5m/s,5m/s,5m/s,5m/s,5m/s,5m/s,5m/s,5m/s,5m/s,5m/s --cut-in 5m/s --hub 10m", "meanS", 86400 * math.Exp(-math.Pi/4), 1e-6, "Rayleigh distribution, closed form"},
		{mastLine + " --depth 3ft", "requiredDepthM", 6.63 * 0.3048, 0.02 * 0.3048, "ASCE 7 and IBC 1807.3.2.1, recomputed"},
		{"quantity --volume 10acre-ft --level 0.05mg/L --basis active --strength 5% --density 1030kg/m3", "productKg", 12.3348, 1e-3, "V C/p, recomputed"},
		{"quantity --volume 35acre-ft --level 0.9lb/acre-ft --basis product --strength 25%", "productKg", 31.5 * 0.45359237, 1e-6, "Mathematics and Statistics for the Environment, example 23.19"},
		{"stocking --scheme \"South Carolina, unfertilized\" --area 3acres", "areaUsedM2", 3 * 4046.8564224, 1e-6, "definition"},
		{"sounding --reading 2.85m --draft 0.30m --temp 18.4C", "depthM", 3.1070, 0.0005, "EM 1110-2-1003, 2002, ch. 9; Marczak 1997; recomputed"},
		{"plate --marks 1m:1.10m,3m:3.16m --reading 2.13m", "depthM", 2, 1e-9, "a line through two marks, arithmetic"},
		{"startup --profile profile.csv --curve curve.csv --lift 262L/s --age 12h --dawn --stops", "firstRunS", 1.67 * 3600, 0.02 * 1.67 * 3600, "arithmetic of the rule on the five-acre pond, recomputed"},
		{"startup --profile profile.csv --curve curve.csv --lift 262L/s --age 12h --dawn --stops", "days", 6, 0, "the same"},
		{"startup --profile profile.csv --curve curve.csv --lift 262L/s --age 12h --dawn --stops", "leftM3", 426, 15, "the same"},
		{"transfer --air 1scfm --depth 14ft", "standardKgPerS", 0.290 * 0.45359237 / 3600, 0.01 * 0.290 * 0.45359237 / 3600, "EPA/625/1-89/023, from memory, recomputed"},
		{"transfer --air 1scfm --depth 14ft --oxygen 4mg/L --temp 25C", "fieldKgPerS", 0.457 * 0.290 * 0.45359237 / 3600, 0.015 * 0.457 * 0.290 * 0.45359237 / 3600, "αF 0.9, β 0.98, recomputed"},
		{"hold --area 20234m2 --depth 2.44m --temp 25C", "mixingW", 2.23, 0.03, "closed form of a heated layer, recomputed"},
		{"plume --air 1scfm --depth 4.3m --disc 0.23m", "flowM3PerS", 0.16409, 0.005 * 0.16409, "integral from a disc of 0.115 m, recomputed"},
		{"plume --air 0.5scfm --depth 4.3m --profile profile.csv --disc 0.23m", "topM", 2.94, 0.1, "28 over 14 °C, a separate integral, recomputed"},
		{"leastair --depth 4.3m --profile profile.csv --disc 0.23m", "airStdM3PerS", 1.5 * 4.719474e-4, 0.5 * 4.719474e-4, "1 scfm peels, 2 scfm comes up: a separate integral, recomputed"},
		{"flow --air 10cfm --quoted machinery --pressure 12.228psia --temp 95F", "atPlaceActualM3PerS", 12.6332 * 4.719474e-4, 1e-3 * 4.719474e-4, "ideal gas law, recomputed"},
		{"flow --air 1.58309m3/h --quoted normal", "standardStdM3PerS", 4.719474e-4, 1e-4 * 4.719474e-4, "one scfm in normal m³/h by the ideal gas law, recomputed"},
		{"bores --size 1/2", "lossRatio", 3.85, 0.01, "(0.622/0.475)^5, recomputed; bores of ASTM D2239 from memory"},
		{"fittings --bore 0.622in --elbows 2", "loss", 1.56, 1e-9, "30 fT, fT 0.026, valve-and-fitting handbook, from memory"},
		{"fittings --bore 1in --inserts 1 --insert 0.5in", "loss", 15, 1e-9, "sudden contraction and expansion, (0.375 + 0.5625) × 16"},
		{"diffuser --air 2scfm --opening 0.25psi --per-scfm 0.12psi --fouling 2", "fouledPaGauge", 2 * 0.49 * 6894.757, 1, "a + b Q, arithmetic"},
		{"compressor --compressor compressor.csv --outlet 12psi", "airStdM3PerS", 3.772285315 * 4.719474e-4, 1e-6 * 4.719474e-4, "SciPy's PchipInterpolator on the same table"},
		{"climate --at 35.4,-97.6", "meanIrradiationWhPerM2", 57206.0 / 12, 1, "typical year TMY3 723530, sum of its published months"},
		{"hourly --at 0,0 --from 2026-03-20T11:37:00Z --hours 1 --tilt 0deg", "levelWhPerM2", 1035.09, 2, "Haurwitz overhead, test suite of pvlib-python; noon of the equinox at the equator"},
		{"shade --at 40,-90 --height 10m", "noonDeg", 26.55, 1e-3, "90° less latitude less 23.45°"},
		{"shade --at 40,-90 --height 10m --distance 20m", "obstacleDeg", 26.565, 1e-3, "atan 1/2"},
		{"cell --light 1000 --temp 25C --power 300W", "powerW", 265.3, 0.05, "published formulas, recomputed"},
		{"cell --light 900 --temp 20C --wind 5m/s", "rackC", 43.509, 1e-3, "test suite of pvlib-python"},
		{"frost --index 1000F·d --conductivity 1.730735W/mK --density 100lb/ft3 --water 15%", "depthM", 4.71 * 0.3048, 0.01 * 0.3048, "US Army TM 5-852-6, from memory, recomputed"},
		{"copper --alkalinity 80mg/L --volume 7.7acre-ft", "massKg", 16.751 * 0.45359237, 0.005 * 0.45359237, "FA008, recomputed"},
		{"wait --from 250ppb --to 2ppb --shortest 0.7d --longest 0.7d", "shortestS", 4.876 * 86400, 0.01 * 86400, "NAJFM 11(2), 226, 1991, recomputed"},
		{"soundspeed --temp 20C", "speedMPerS", 1482.380, 0.002, "Marczak 1997, recomputed"},
		{"soundspeed --temp 5C", "deepShare", 1/0.9508 - 1, 1e-4, "Marczak 1997, recomputed"},
		{"level --staff staff.csv --time 2026-06-01T08:15:00Z --depth 3.1m --full 1.495m", "belowFullM", 3.35, 1e-9, "arithmetic"},
		{"latency --shift 3m --out 1.5m/s --back 1.5m/s --slope 0.3333333", "delayS", 1, 0, "shift over both speeds, arithmetic"},
		{"latency --shift 3m --out 1.5m/s --back 1.5m/s --slope 0.3333333", "biasM", 0.5, 1e-6, "the same"},
		{"latency --out-run out.csv --back-run back.csv --out 1.5m/s --back 1.5m/s", "delayS", 0.8, 0.03, "planted"},
		{"crossing --crossings crossings.csv", "biasM", 0.03, 1e-9, "arithmetic"},
		{"crossing --crossings crossings.csv", "spread95M", 1.96 / math.Sqrt2 * 0.02 * math.Sqrt(12.0/11), 1e-9, "arithmetic"},
		{"beam --depth 3m --beam 20deg", "footprintM", 1.06, 0.005, "2·3·tan 10°, recomputed"},
	} {
		t.Run(tt.line+" "+tt.key, func(t *testing.T) {
			t.Parallel()
			got, ok := calcJSON(t, files, tt.line).Results[tt.key].(float64)
			if !ok || !(math.Abs(got-tt.want) <= tt.tol) {
				t.Errorf("%s = %.8g, want %.8g within %.2g (%s)", tt.key, got, tt.want, tt.tol, tt.source)
			}
		})
	}
}

// greensboro is the typical year TMY3 723170, Wh/m² a day, summed.
const greensboro = "2414Wh/m2,3063Wh/m2,4251Wh/m2,5410Wh/m2,5636Wh/m2,6251Wh/m2,6083Wh/m2,5615Wh/m2,4427Wh/m2,3589Wh/m2,2435Wh/m2,2243Wh/m2"

// mastLine is a mast of three small panels on 4 in pipe.
const mastLine = "mast --wind 115mph --map 7-16 --exposure C --topographic 1 --area 18.3ft2 --tilt 45deg --center 8ft --exposed 7ft --mass 130lb --pole 4 --yield 35ksi --width 18in --soil clay --dry --frost 1ft"

// TestCalc_StepsAgree holds steps that are worked out anew against the results
// of the packages.
func TestCalc_StepsAgree(t *testing.T) {
	t.Parallel()
	files := calcFiles(t)
	near := func(what string, got, want float64) {
		t.Helper()
		if !(math.Abs(got-want) <= 1e-9*math.Abs(want)) {
			t.Errorf("%s: %.12g, want %.12g", what, got, want)
		}
	}
	for _, line := range []string{"lift --air 1scfm --depth 14ft", "lift --air 4scfm --depth 6ft --altitude 5000ft", "lift --air 0.5scfm --depth 14ft --height 6ft", "lift --air 2scfm --depth 14ft --profile profile.csv"} {
		s := calcJSON(t, files, line)
		promised := math.Min(s.step("share")*s.step("closedFormM3PerS"), s.step("integralM3PerS"))
		near(line+", promised", s.Results["promisedM3PerS"].(float64), promised)
		near(line+", low end", s.Results["lowM3PerS"].(float64), figureOf(plume.Defaults(), lowFigure)*promised)
	}
	// The isothermal equation with the friction shown gives the pressure shown.
	s := calcJSON(t, files, "hose --air 3scfm --length 300ft --bore 0.622in --depth 12ft --fittings 4")
	d, temp, p1, p2 := s.Inputs["boreM"].(float64), s.Inputs["tempC"].(float64)+273.15, s.step("startPaAbs"), s.step("endPaAbs")
	flux := s.step("massKgPerS") / (math.Pi / 4 * d * d)
	near("hose", p1*p1-p2*p2, flux*flux*unit.AirGasConstantJPerKgK*temp*(s.step("friction")*s.Inputs["lengthM"].(float64)/d+4+2*math.Log(p1/p2)))
	s = calcJSON(t, files, "compress --air 4.4scfm --outlet 6psi --altitude 5000ft")
	near("intake flow", s.step("intakeFlowActualM3PerS"), s.step("massKgPerS")*unit.AirGasConstantJPerKgK*293.15/s.step("airPressurePaAbs"))
	near("isothermal power", s.Results["isothermalW"].(float64), s.step("airPressurePaAbs")*s.step("intakeFlowActualM3PerS")*math.Log(s.step("ratio")))
	s = calcJSON(t, files, "relief --normal 3psi --rating tank=80psi --rating pipe=11psi")
	near("relief, least", s.step("leastPaGauge"), float64(unit.PSIG(4.5))) // the margin of 1.5 psi rules
}

// TestCalc_AltitudeMovesTheAir: the same standard flow is more air at altitude,
// and lifts more; the share is that of the pressures.
func TestCalc_AltitudeMovesTheAir(t *testing.T) {
	t.Parallel()
	low := calcJSON(t, nil, "lift --air 1scfm --depth 14ft")
	high := calcJSON(t, nil, "lift --air 1scfm --depth 14ft --altitude 5000ft")
	share := high.step("airAtSurfaceActualM3PerS") / low.step("airAtSurfaceActualM3PerS")
	if math.Abs(share-1/0.8320) > 1e-3 { // U.S. Standard Atmosphere 1976, p/p0 at 5,000 ft
		t.Errorf("air at 5,000 ft over air at sea level %.4f, want %.4f", share, 1/0.8320)
	}
	if !(high.Results["promisedM3PerS"].(float64) > low.Results["promisedM3PerS"].(float64)) {
		t.Error("altitude does not lift more")
	}
	same := calcJSON(t, nil, "lift --air 1scfm --depth 14ft --pressure 12.228psia")
	if a, b := same.Results["promisedM3PerS"].(float64), high.Results["promisedM3PerS"].(float64); math.Abs(a/b-1) > 1e-3 {
		t.Errorf("by the barometer %g, by the altitude %g", a, b)
	}
}

func TestCalc_Refusals(t *testing.T) {
	t.Parallel()
	files := calcFiles(t)
	afternoon := write(t, "noon.csv", "depth_ft,temp_f\n0,80\n10,60\n")
	bad := write(t, "bad.csv", "depth_ft,temp_f\n0,80\n10,sixty\n")
	odd := write(t, "odd.csv", "depth_ft,turbidity\n0,80\n")
	files["noon.csv"], files["bad.csv"], files["odd.csv"] = afternoon, bad, odd
	for _, tt := range []struct {
		line   string
		status int
		says   []string
	}{
		{"lift --air 1scfm --depth 150ft", exitFailed, []string{"submergence (m)", "45.72", "between 0.1 and 30", "plume model"}},
		{"density --temp 45C", exitFailed, []string{"temperature", "45", "Tanaka"}},
		{"relief --normal 20psi --rating hose=15psi", exitFailed, []string{"hose", "15.0 psi", "24.0 psi"}},
		{"quantity --volume 1acre-ft --level 1 --strength 5%", exitFailed, []string{"refused", "product or its active ingredient"}},
		{"quantity --volume 1acre-ft --level 0.25mg/L --basis active --strength 5% --agent rotenone", exitFailed, []string{"maximum for rotenone", "0.2", "Finlayson"}},
		{"quantity --volume 1acre-ft --level 1mg/L --basis active --strength 25% --agent copper --alkalinity 45mg/L", exitFailed, []string{"soft", "45", "50"}},
		{"manifold --runs runs.csv --compressor compressor.csv --altitude 20000ft", exitFailed, []string{"altitude", "6096", "6000"}},
		{mastLine + " --soil organic", exitFailed, []string{"no bearing value"}},
		{"wire --length 2mi --current 15A --volts 24V", exitFailed, []string{"no wire of the table"}},
		{"compass --at 35,-98 --date 2031-01-01", exitFailed, []string{"2025", "2030"}},
		{"stocking --scheme \"Mississippi, catfish only\" --area 3acres", exitFailed, []string{"acres", "between 0 and 1"}},
		{"plate --marks 1m:2m,2m:3.6m", exitFailed, []string{"scale", "0.8", "1.25"}},
		{"panels --at 36.1,-79.95 --load 150W --hours 20h", exitFailed, []string{"hours"}},
		{"layers --profile missing.csv --curve curve.csv", exitFailed, []string{"missing.csv"}},
		{"layers --profile bad.csv --curve curve.csv", exitFailed, []string{"row 2", "temp", "sixty"}},
		{"layers --profile odd.csv --curve curve.csv", exitFailed, []string{"turbidity", "depth, temp, oxygen"}},
		{"overturn --profile noon.csv --curve curve.csv", exitUsage, []string{"oxygen"}},
		{"lift --air 8cfm --depth 14ft", exitUsage, []string{"not a standard flow", "scfm"}},
		{"oxygen --temp 20C --pressure 14.7psi", exitUsage, []string{"absolute", "psia"}},
		{"oxygen --temp 20C --pressure 14.7psia --altitude 0ft", exitUsage, []string{"give one of them"}},
		{"discharge --outlet 10psia", exitUsage, []string{"absolute pressure", "gauge"}},
		{"hose --air 3scfm --length 300ft --bore 0.6in --depth 12psi", exitUsage, []string{"is no length"}},
		{"windhours --at 35.6,-97.9 --shelter 0%", exitUsage, []string{"zero"}},
		{"windhours --at 35.6,-97.9 --wind 3m/s,4m/s", exitUsage, []string{"2 values"}},
		{"windhours --at 95,-97.9", exitUsage, []string{"latitude"}},
		{"sun --at 35.6,-97.9 --time noon", exitUsage, []string{"--time"}},
		{"compass --at 35.6,-97.9 --date July", exitUsage, []string{"--date"}},
		{"light --at 35.6,-97.9 --horizon 90", exitUsage, []string{"--horizon"}},
		{"tilt --at 35.6,-97.9 --months summer", exitUsage, []string{"summer"}},
		{"wire --length 50ft --current 15A --volts 24V --gauge 11", exitUsage, []string{"AWG"}},
		{"mast --area 18ft2 --tilt 45 --center 8 --pole 9 --width 18in", exitUsage, []string{"--pole", "3.5"}},
		{"stocking --scheme Atlantis --area 3acres", exitUsage, []string{"Alabama, fertilized"}},
		{"relief --normal 8psi --rating 60psi", exitUsage, []string{"PART=PRESSURE"}},
		{"relief --normal 8psi --rating hose=60psi --rating Hose=50psi", exitUsage, []string{"already"}},
		{"turnover --air 1scfm --depth 14ft", exitUsage, []string{"--volume"}},
		{"startup --profile profile.csv --curve curve.csv --air 1scfm --depth 14ft --age 4d --smell", exitFailed, []string{"3 days", "dawn", "rotten eggs", "stops the air"}},
		{"startup --profile profile.csv --curve curve.csv --air 1scfm --depth 14ft --age 1d --dawn --stops --demand 10mg/L", exitFailed, []string{"below 3 mg/L", "season"}},
		{"startup --profile profile.csv --curve curve.csv --age 1d --dawn --stops", exitUsage, []string{"--lift"}},
		{"copper --alkalinity 45mg/L", exitFailed, []string{"soft", "FA008"}},
		{"lime --alkalinity 12mg/L --kind caustic --fish", exitFailed, []string{"limestone"}},
		{"wait --from 1mg/L --to 2mg/L", exitFailed, []string{"level at the end"}},
		{"flow --air 10scfm", exitUsage, []string{"names its state", "--quoted"}},
		{"bores --size 7", exitUsage, []string{"1-1/4"}},
		{"compressor --compressor compressor.csv --outlet 30psi", exitFailed, []string{"25"}},
		{"compressor --compressor compressor.csv --outlet 5psi --shaft 20W", exitFailed, []string{"20 W", "isothermal"}},
		{"shade --at 60,10", exitFailed, []string{"52"}},
		{"level --staff crossings.csv --time 2026-06-01T08:15:00Z", exitFailed, []string{"main_m"}},
		{"beam --depth 3m --beam 150deg", exitFailed, []string{"120"}},
		{"lift --depth 14ft", exitUsage, []string{"air"}},
		{"settings engine", exitUsage, []string{"engine"}},
		{"guesswork", exitUsage, []string{"guesswork"}},
	} {
		t.Run(tt.line, func(t *testing.T) {
			t.Parallel()
			status, out, errs := run(t, calcArgs(tt.line, files)...)
			if status != tt.status || out != "" {
				t.Errorf("status %d with output %q, want %d and none", status, out, tt.status)
			}
			for _, say := range tt.says {
				if !strings.Contains(errs, say) {
					t.Errorf("error %q lacks %q", errs, say)
				}
			}
		})
	}
}

// TestCalc_RefusalsAsData: with --json a refusal says on stdout what was refused,
// with limits and their source, and the status stays that of a refusal.
func TestCalc_RefusalsAsData(t *testing.T) {
	t.Parallel()
	type refused struct {
		Calculation string
		Refusal     struct {
			Code, Message, Quantity, Source, Remedy string
			Value, Min, Max                         *float64
		}
	}
	is := func(got *float64, want float64) bool {
		if math.IsNaN(want) {
			return got == nil
		}
		return got != nil && math.Abs(*got-want) <= 1e-9*math.Abs(want)
	}
	none := math.NaN()
	for _, tt := range []struct {
		line, code, quantity string
		value, least, most   float64
		source               string
	}{
		{"lift --air 1scfm --depth 150ft", "OUT_OF_RANGE", "submergence (m)", 45.72, 0.1, 30, "plume model"},
		{"density --temp 45C", "OUT_OF_RANGE", "water temperature (°C)", 45, 0, 40, "Tanaka"},
		{"quantity --volume 1acre-ft --level 1 --strength 5%", "AGAINST_RULE", "active ingredient", none, none, none, "label"},
		{"quantity --volume 1acre-ft --level 1mg/L --basis active --strength 25% --agent copper --alkalinity 45mg/L", "AGAINST_RULE", "soft", 45, 50, none, "FA008"},
		{"quantity --volume 1acre-ft --level 0.25mg/L --basis active --strength 5% --agent rotenone", "AGAINST_RULE", "rotenone", 0.25, none, 0.2, "Finlayson"},
		{"wire --length 2mi --current 15A --volts 24V", "NO_WIRE_HEAVY_ENOUGH", "", none, none, none, ""},
		{"relief --normal 20psi --rating hose=15psi", "WEAKEST_PART", "", none, none, none, ""},
		{"layers --profile missing.csv --curve missing.csv", "FILE_UNREADABLE", "", none, none, none, ""},
		{mastLine + " --soil organic", "NO_BEARING", "", none, none, none, ""},
	} {
		status, out, errs := run(t, append(calcArgs(tt.line, nil), "--json", "--units", "si")...)
		if status != exitFailed || errs == "" {
			t.Errorf("%s: status %d, stderr %q", tt.line, status, errs)
		}
		r := decode[refused](t, out)
		if !strings.HasPrefix(tt.line, r.Calculation+" ") || r.Refusal.Code != tt.code || !strings.Contains(errs, r.Refusal.Message) || r.Refusal.Message == "" {
			t.Errorf("%s: %+v", tt.line, r)
		}
		if !strings.Contains(r.Refusal.Quantity, tt.quantity) || !strings.Contains(r.Refusal.Source, tt.source) ||
			!is(r.Refusal.Value, tt.value) || !is(r.Refusal.Min, tt.least) || !is(r.Refusal.Max, tt.most) {
			t.Errorf("%s: %s", tt.line, out)
		}
	}
	if status, out, _ := run(t, "calc", "lift", "--air", "8cfm", "--depth", "14ft", "--json"); status != exitUsage || out != "" {
		t.Errorf("wrong usage: status %d, %q", status, out)
	}
}

// TestCalc_Cautions: what can hurt never comes without its caution.
func TestCalc_Cautions(t *testing.T) {
	t.Parallel()
	files := calcFiles(t)
	for _, g := range calcGroups() {
		for _, c := range g.list {
			for names, word := range map[string]string{
				"hose manifold compress relief discharge compressor": "local code",
				"runhours panels string wire sources cell":           "licensed electrician",
				"frost":                        "licensed engineer",
				"copper wait":                  "label is the law",
				"lime":                         "can kill fish",
				"startup":                      "kill fish",
				"mast":                         "licensed engineer",
				"quantity":                     "label is the law",
				"stocking":                     "fish agency",
				"overturn turnover destratify": "fish",
			} {
				if strings.Contains(" "+names+" ", " "+c.name+" ") && !strings.Contains(strings.Join(calcJSON(t, files, c.example).Cautions, "\n"), word) {
					t.Errorf("%s does not say %q", c.name, word)
				}
			}
		}
	}
}

func TestCalc_MastVerdicts(t *testing.T) {
	t.Parallel()
	for line, want := range map[string]string{
		mastLine + " --depth 3ft": "not enough", // three panels at 115 mph, recomputed: 6.6 ft
		mastLine:                  "enough",
		"mast --area 18.3ft2 --tilt 45deg --center 8ft --pole 4 --width 24in": "unverified",
	} {
		s := calcJSON(t, nil, line)
		if s.Results["verdict"] != want {
			t.Errorf("%s: %v, want %s (%v)", line, s.Results["verdict"], want, s.Results["reason"])
		}
		if s.Results["windMPerS"] == nil || s.Results["depthM"] == nil {
			t.Errorf("%s: a depth without its wind: %v", line, s.Results)
		}
		if want == "unverified" && !strings.Contains(s.Results["reason"].(string), "wind speed") {
			t.Errorf("unverified for %v", s.Results["reason"])
		}
	}
}

func TestCalc_SummerStartIsSpokenAgainst(t *testing.T) {
	t.Parallel()
	files := calcFiles(t)
	files["warm.csv"] = write(t, "warm.csv", "depth_ft,temp_f,oxygen_mg_l\n0,84,8\n5,84,8\n8,60,0\n10,60,0\n")
	cautions := strings.Join(calcJSON(t, files, "overturn --profile warm.csv --curve curve.csv").Cautions, "\n")
	for _, say := range []string{"warmer than 28 °C", "ends more than 0.5 m above the bottom"} {
		if !strings.Contains(cautions, say) {
			t.Errorf("cautions lack %q: %s", say, cautions)
		}
	}
}

// TestCalc_FarStationWarns: a station beyond 150 km is named with its distance
// and a warning.
func TestCalc_FarStationWarns(t *testing.T) {
	t.Parallel()
	for line, far := range map[string]bool{"climate --at 35.6,-97.9": false, "climate --at 47.5,-107.5": true, "climate --at 20,-150": true} {
		s := calcJSON(t, nil, line)
		distance := s.Results["distanceM"].(float64)
		warned := strings.Contains(strings.Join(s.Notes, "\n"), "150 km")
		if s.Results["station"] == "" || warned != (distance > 150e3) || warned != far {
			t.Errorf("%s: %v, %.0f m, warned %v", line, s.Results["station"], distance, warned)
		}
	}
}

func TestCalc_TurnoverByCurve(t *testing.T) {
	t.Parallel()
	s := calcJSON(t, calcFiles(t), "turnover --profile profile.csv --curve curve.csv --diffusers 4 --air 1scfm --depth 4.272m")
	// Five-acre pond: 13,297 m³ below 2.3 m, of which 0.61 % of 49,339 m³ lies
	// below the diffusers; closed form, recomputed.
	if got, want := s.step("bottomM3"), 13297-0.0061*49339; math.Abs(got-want) > 10 {
		t.Errorf("bottom water %.0f m³, want %.0f", got, want)
	}
	for _, key := range []string{"bottomWaterS", "destratifyS"} {
		if v, ok := s.Results[key].(float64); !ok || !(v > 0) {
			t.Errorf("%s is %v", key, s.Results[key])
		}
	}
}

func TestCalc_Settings(t *testing.T) {
	t.Parallel()
	type listing struct {
		Settings []listedSetting `json:"settings"`
	}
	out, _ := mustRun(t, "calc", "settings", "--json")
	listed := decode[listing](t, out).Settings
	byRoom := make(map[string]int)
	for _, s := range listed {
		byRoom[s.Of]++
		if s.Mark == unit.Published || s.Name == "" || s.Unit == "" {
			t.Errorf("listed: %+v", s)
		}
	}
	prose, _ := mustRun(t, "calc", "settings")
	for _, room := range calcSettings() {
		for _, s := range room.list {
			if s.Mark != unit.Published {
				byRoom[room.name]--
				if !strings.Contains(prose, s.Name) {
					t.Errorf("prose lacks %q", s.Name)
				}
			}
		}
		if byRoom[room.name] != 0 {
			t.Errorf("%s: %d more listed than there are", room.name, byRoom[room.name])
		}
	}
	one, _ := mustRun(t, "calc", "settings", "plume")
	all, _ := mustRun(t, "calc", "settings", "plume", "--all")
	if !strings.Contains(one, promisedFigure) || strings.Contains(one, "drag") || !(len(all) > len(one)) {
		t.Errorf("settings of plume:\n%s", one)
	}
}

// TestCalc_NamedFiguresExist: a figure that a sheet takes from the settings by
// name is there.
func TestCalc_NamedFiguresExist(t *testing.T) {
	t.Parallel()
	for _, name := range []string{promisedFigure, lowFigure, efficiencyFigure} {
		if figureOf(plume.Defaults(), name) == 0 {
			t.Errorf("plume has no %q", name)
		}
	}
	if figureOf(plume.Defaults(), slipFigure) == 0 || figureOf(sound.Settings(), staffEveryFigure) == 0 {
		t.Error("a figure of plume or sound is gone")
	}
	if figureOf(sound.Settings(), deadZoneFigure) == 0 || figureOf(calcSettings()[2].list, roughnessFigure) == 0 {
		t.Error("a figure of sound or air is gone")
	}
	if s := calcJSON(t, nil, "panels --at 36.1,-79.95 --load 150W"); s.Inputs["share"] != 0.75 { // common practice, no source
		t.Errorf("share without a battery %v, want 0.75", s.Inputs["share"])
	}
	if s := calcJSON(t, nil, "panels --at 36.1,-79.95 --load 150W --battery lithium"); s.Inputs["share"] != 0.6 { // common practice, no source
		t.Errorf("share with a battery %v, want 0.6", s.Inputs["share"])
	}
}

// TestCalc_DataKeysOnce: no object of --json holds a key twice.
func TestCalc_DataKeysOnce(t *testing.T) {
	t.Parallel()
	files := calcFiles(t)
	for _, g := range calcGroups() {
		for _, c := range g.list {
			out, _ := mustRun(t, append(calcArgs(c.example, files), "--json")...)
			d := json.NewDecoder(strings.NewReader(out))
			checkKeys(t, c.name, d)
		}
	}
}

// checkKeys reads one JSON value and complains of repeated keys.
func checkKeys(t *testing.T, where string, d *json.Decoder) {
	t.Helper()
	token, err := d.Token()
	if err != nil {
		t.Fatal(err)
	}
	seen := make(map[string]bool)
	switch token {
	case json.Delim('{'):
		for d.More() {
			key, err := d.Token()
			if err != nil {
				t.Fatal(err)
			}
			name := key.(string)
			if seen[name] {
				t.Errorf("%s: key %s twice", where, name)
			}
			seen[name] = true
			checkKeys(t, where+"."+name, d)
		}
	case json.Delim('['):
		for d.More() {
			checkKeys(t, where, d)
		}
	default:
		return
	}
	if _, err := d.Token(); err != nil {
		t.Fatal(err)
	}
}

func TestCalc_Golden(t *testing.T) {
	t.Parallel()
	for name, args := range map[string]string{
		"lift.txt":   "lift --air 1scfm --depth 14ft --altitude 5000ft --explain",
		"relief.txt": "relief --normal 8.6psi --rating compressor=15psi --rating hose=60psi",
		"plate.json": "plate --marks 1m:1.042m,2m:2.055m,3m:3.071m,4m:4.088m --reading 2.85m --json",
	} {
		got, _ := mustRun(t, calcArgs(args, nil)...)
		path := filepath.Join("testdata", "calc", name)
		if *updateGolden {
			if err := os.WriteFile(path, []byte(got), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s differs from %s (run with -update if that is meant):\n%s", args, path, got)
		}
	}
}
