package block

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// TestRangeCoder_GivesBackWhatItTook: decisions of any chance and numbers of any
// length, in any order, and not a byte is left over.
func TestRangeCoder_GivesBackWhatItTook(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOf(rapid.OneOf(rapid.Uint64Max(3), rapid.Uint64Range(200, 300), rapid.Uint64())).Draw(t, "values")
		bits := rapid.SliceOfN(rapid.Bool(), len(values), len(values)).Draw(t, "bits")
		run := func(c *coder) (out []uint64) {
			var m magnitudes
			var odds chance
			for i, v := range values {
				bit := uint(0)
				if bits[i] {
					bit = 1
				}
				bit = c.decide(&odds, bit)
				v, ok := m.code(c, v)
				if !ok {
					t.Fatal("no number was read")
				}
				out = append(out, v, uint64(bit), c.even(v, 64))
			}
			return out
		}
		w := newWriter(nil)
		want := run(w)
		r := newReader(w.finish())
		for i, got := range run(r) {
			if got != want[i] {
				t.Fatalf("number %d is %d, want %d", i, got, want[i])
			}
		}
		if r.left() > 0 {
			t.Fatalf("%d bytes left over", r.left())
		}
	})
}

// TestRangeCoder_NearTheEntropy: coding costs little more than what the source holds,
// -p log2 p - (1-p) log2(1-p) bits a decision (Shannon, 1948, "A Mathematical Theory
// of Communication", section 6).
func TestRangeCoder_NearTheEntropy(t *testing.T) {
	t.Parallel()
	draw := rand.New(rand.NewPCG(1, 1))
	for _, p := range []float64{0.5, 0.9, 0.99} {
		const n = 20_000
		w := newWriter(nil)
		var c chance
		for range n {
			bit := uint(0)
			if draw.Float64() > p {
				bit = 1
			}
			w.decide(&c, bit)
		}
		bound := -n * (p*math.Log2(p) + (1-p)*math.Log2(1-p)) / 8
		if got := float64(len(w.finish())); got > 1.03*bound+10 {
			t.Errorf("chance %.2f: %.0f bytes, entropy %.0f", p, got, bound)
		}
	}
}

func TestPredict_RefusesWhatTheFormatForbids(t *testing.T) {
	t.Parallel()
	columns, err := AppendSoundings(nil, track(30, 1, 1))
	if err != nil {
		t.Fatal(err)
	}
	good, ok := predict(columns, 30)
	if !ok {
		t.Fatal("a track has no predicted form")
	}
	tests := []struct {
		name   string
		doctor func([]byte) []byte
	}{
		{"nothing", func([]byte) []byte { return nil }},
		{"cut in the lead", func(p []byte) []byte { return p[:4] }},
		{"more columns than there are", func(p []byte) []byte { p[0] = 200; return p }},
		{"columns out of order", func(p []byte) []byte { p[1], p[4] = p[4], p[1]; return p }},
		{"unknown column", func(p []byte) []byte { p[1] = 99; return p }},
		{"more values than there are", func(p []byte) []byte { p[3] = 31; return p }},
		{"unknown guess", func(p []byte) []byte { p[2] = guesses; return p }},
		{"bytes left over", func(p []byte) []byte { return append(p, make([]byte, 8)...) }},
	}
	for _, tt := range tests {
		if _, err := unpredict(tt.doctor(bytes.Clone(good)), 30); !errors.Is(err, ErrCorrupt) {
			t.Errorf("%s: error %v, want ErrCorrupt", tt.name, err)
		}
	}
	if _, ok := predict(appendColumn(columns, 900, []byte("of a later revision")), 30); ok {
		t.Error("a column that is not known was predicted")
	}
	// The same values in an encoding that the writer would not have taken.
	if _, ok := predict(appendColumn(nil, 4, appendDeltas([]byte{encDelta}, make([]int64, 30))), 30); ok {
		t.Error("columns that would come back otherwise were predicted")
	}
}
