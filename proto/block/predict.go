package block

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/bits"
)

// predict returns columns of soundings in the form of the codec Predicted, and
// whether they have one: only what AppendSoundings wrote does.
func predict(columns []byte, count int) ([]byte, bool) {
	var lead []byte
	var ints [][]int64
	var guesses []byte
	known := 0
	err := eachColumn(columns, func(tag uint64, body []byte) error {
		col := columnOf(tag)
		if col == nil {
			return corrupt("column %d is unknown", tag)
		}
		presence, n, err := col.presence(body, count)
		if err != nil {
			return err
		}
		values := make([]int64, n)
		if err := parseInts(body[len(presence):], values); err != nil {
			return err
		}
		g, coded := bestGuess(values)
		lead = append(append(lead, byte(tag), g), presence...)
		lead = binary.AppendUvarint(lead, uint64(coded))
		ints, guesses = append(ints, values[:coded]), append(guesses, g)
		known++
		return nil
	})
	if err != nil {
		return nil, false
	}
	w := newWriter(append([]byte{byte(known)}, lead...))
	for i, values := range ints {
		codeColumn(w, guesses[i], values, len(values))
	}
	packed := w.finish()
	back, err := unpredict(packed, count)
	return packed, err == nil && bytes.Equal(back, columns)
}

// unpredict returns the columns from which predict made packed.
func unpredict(packed []byte, count int) ([]byte, error) {
	type part struct {
		tag, guess byte
		presence   []byte
		values     []int64
		coded      int // of the values; the others are as guessed
	}
	if len(packed) == 0 {
		return nil, corrupt("number of columns is missing")
	}
	parts := make([]part, packed[0])
	packed = packed[1:]
	for i := range parts {
		if len(packed) < 2 {
			return nil, corrupt("column is cut short")
		}
		p := part{tag: packed[0], guess: packed[1]}
		col := columnOf(uint64(p.tag))
		if col == nil || i > 0 && p.tag <= parts[i-1].tag {
			return nil, corrupt("column %d is unknown or out of order", p.tag)
		}
		if int(p.guess) >= guesses {
			return nil, corrupt("guess %d is unknown", p.guess)
		}
		presence, n, err := col.presence(packed[2:], count)
		if err != nil {
			return nil, err
		}
		p.presence, p.values = presence, make([]int64, n)
		packed = packed[2+len(presence):]
		coded, size := binary.Uvarint(packed)
		if size <= 0 || coded > uint64(n) {
			return nil, corrupt("column %d holds more values than it has", p.tag)
		}
		p.coded, packed = int(coded), packed[size:]
		parts[i] = p
	}
	r := newReader(packed)
	var columns, body []byte
	for _, p := range parts {
		if !codeColumn(r, p.guess, p.values, p.coded) {
			return nil, corrupt("column %d holds no number", p.tag)
		}
		body = appendInts(append(body[:0], p.presence...), p.values)
		columns = appendColumn(columns, uint64(p.tag), body)
	}
	if r.left() > 0 {
		return nil, corrupt("%d bytes left over", r.left())
	}
	return columns, nil
}

// codeColumn writes values, or reads them into the slice, and reports whether they
// are values: what is coded of each is by how much its guess missed it. Beyond the
// given number they are as guessed.
func codeColumn(c *coder, guess byte, values []int64, coded int) bool {
	var m magnitudes
	g := newGuess(guess)
	for i := range values {
		next := g.next()
		miss, ok := uint64(0), true
		if i < coded {
			miss, ok = m.code(c, zigzag(values[i]-next))
		}
		if !ok {
			return false
		}
		values[i] = next + unzigzag(miss)
		g.saw(values[i])
	}
	return true
}

func zigzag(v int64) uint64   { return uint64(v)<<1 ^ uint64(v>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// bestGuess returns the guess that misses the values by the fewest bits, and how many
// values there are until it misses no more.
func bestGuess(values []int64) (best byte, coded int) {
	least := math.MaxInt
	for n := range byte(guesses) {
		g, sum, end := newGuess(n), 0, 0
		for i, v := range values {
			miss := bits.Len64(zigzag(v - g.next()))
			g.saw(v)
			if sum += miss; miss > 0 {
				end = i + 1
			}
		}
		if sum < least {
			best, least, coded = n, sum, end
		}
	}
	return best, coded
}

// guess is what a column's next value may be, from those before it.
type guess interface {
	next() int64
	saw(v int64)
}

// guesses is how many there are: 0 the last value, 1 one more step like the last, the
// others followers.
const guesses = 5

func newGuess(n byte) guess {
	if n < 2 {
		return &stride{steps: n == 1}
	}
	return &follower{gain: followers[n-2]}
}

// stride guesses the last value, or as far beyond it as it lay beyond the one before.
type stride struct {
	steps      bool
	last, step int64
	begun      bool
}

func (s *stride) next() int64 { return s.last + s.step }

func (s *stride) saw(v int64) {
	if s.steps && s.begun {
		s.step = v - s.last
	}
	s.last, s.begun = v, true
}

// followers correct their level and their trend by so many sixteenths of a miss.
var followers = [guesses - 2]struct{ level, trend int64 }{{12, 4}, {8, 2}, {5, 1}}

// follower smooths: it guesses from a level and a trend, in 1/64. All arithmetic wraps
// in 64 bits, so writer and reader agree whatever the values.
type follower struct {
	gain         struct{ level, trend int64 }
	level, trend int64
	seen         int
}

func (f *follower) next() int64 { return (f.level + f.trend + 32) >> 6 }

func (f *follower) saw(v int64) {
	v <<= 6
	switch f.seen {
	case 0:
		f.level = v
	case 1:
		f.level, f.trend = v, v-f.level
	default:
		miss := v - f.level - f.trend
		f.level += f.trend + miss*f.gain.level>>4
		f.trend += miss * f.gain.trend >> 4
	}
	f.seen = min(f.seen+1, 2)
}
