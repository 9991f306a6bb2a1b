package trial

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pondwright/geo/survey"
)

// The errors that planned lines promise are those of the table in RESULTS.md.
func TestPlannedErrors_AreThoseMeasured(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("RESULTS.md")
	if err != nil {
		t.Fatal(err)
	}
	p, err := survey.PlanTransects(pondNamed(t, "wedge").Shore, 0)
	if err != nil {
		t.Fatal(err)
	}
	planned := map[string]survey.Choice{"8": p.Choices[0], "14": p.Choices[2], "28": p.Choices[4]}
	rows := 0
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(line, "|")
		if len(cells) < 6 || strings.TrimSpace(cells[1]) != "all" {
			continue
		}
		c, ok := planned[strings.TrimSpace(cells[2])]
		if !ok {
			continue
		}
		rows++
		for _, v := range []struct {
			cell string
			got  float64
		}{{cells[3], c.Error}, {cells[5], c.Worst}} {
			want, err := strconv.ParseFloat(strings.TrimSpace(v.cell), 64)
			if err != nil {
				t.Fatal(err)
			}
			if ratio := 100 * v.got / want; math.Abs(ratio-1) > 1e-6 {
				t.Errorf("%s lines: %.2f %% promised, %.2f measured", cells[2], 100*v.got, want)
			}
		}
	}
	if rows != 3 {
		t.Errorf("%d rows of the table found, want 3", rows)
	}
}
