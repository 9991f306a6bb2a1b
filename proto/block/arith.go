package block

import "math/bits"

// chance is how likely a binary decision is to be 0, learned from the decisions before
// it: fast at first, then slowly. The zero chance is even.
type chance struct {
	off int32 // of 65,536 parts, from one half
	n   uint8 // decisions seen, at most slowest
}

const (
	slowest  = 60 // a decision moves the chance by 1/(slowest+2) of the way at least
	surest   = 64 // of 65,536: no chance comes nearer to certainty
	evenOdds = 1 << 15
)

// zero returns the chance of a 0 in parts of 65,536.
func (c *chance) zero() uint32 { return uint32(evenOdds + c.off) }

func (c *chance) learn(bit uint) {
	to := int32(evenOdds - surest)
	if bit != 0 {
		to = -to
	}
	c.off += int32(int64(to-c.off) * shares[c.n] >> 16)
	if c.n < slowest {
		c.n++
	}
}

// shares is 65,536/(n+2): how much of the way a chance moves at its next decision.
var shares = func() (s [slowest + 1]int64) {
	for n := range s {
		s[n] = 1 << 16 / int64(n+2)
	}
	return s
}()

// coder writes decisions and returns them, or returns the decisions it reads and does
// not look at its argument: what is coded is described once, for both ways.
type coder interface {
	decide(c *chance, bit uint) uint
	even(value uint64, n int) uint64 // n decisions of even chance, highest first
}

// rangeWriter is a range coder: a subdivision of the numbers of 32 bits, narrowed by
// each decision in proportion to its chance, of which the settled bytes are written.
type rangeWriter struct {
	out   []byte
	low   uint64 // start of the range; bit 32 is a carry into what waits
	width uint32
	head  byte // last byte not yet written, as a carry may change it
	waits int  // bytes of 255 behind it
	begun bool // there is a head
}

func newRangeWriter(dst []byte) *rangeWriter { return &rangeWriter{out: dst, width: 1<<32 - 1} }

func (w *rangeWriter) decide(c *chance, bit uint) uint {
	split := w.width >> 16 * c.zero()
	c.learn(bit)
	if bit == 0 {
		w.width = split
	} else {
		w.low += uint64(split)
		w.width -= split
	}
	w.settle()
	return bit
}

func (w *rangeWriter) even(value uint64, n int) uint64 {
	for n > 0 {
		k := min(n, 8)
		n -= k
		w.width >>= k
		w.low += value >> n & 0xff & (1<<k - 1) * uint64(w.width)
		w.settle()
	}
	return value
}

func (w *rangeWriter) settle() {
	for w.width < 1<<24 {
		w.width <<= 8
		w.shift()
	}
}

// shift settles the highest byte of low.
func (w *rangeWriter) shift() {
	if carry := byte(w.low >> 32); carry != 0 || w.low < 0xff<<24 {
		if w.begun {
			w.out = append(w.out, w.head+carry)
		}
		for ; w.waits > 0; w.waits-- {
			w.out = append(w.out, 0xff+carry)
		}
		w.head, w.begun = byte(w.low>>24), true
	} else {
		w.waits++
	}
	w.low = w.low & 0xffffff << 8
}

// finish writes as few bytes as tell the range from every other; a reader takes the
// bytes that are not there for zeros.
func (w *rangeWriter) finish() []byte {
	end := w.low + uint64(w.width)
	for n := 32; n >= 0; n-- {
		step := uint64(1) << n
		if v := (w.low + step - 1) &^ (step - 1); v < end {
			w.low = v
			break
		}
	}
	from := len(w.out)
	for range 5 {
		w.shift()
	}
	for len(w.out) > from && w.out[len(w.out)-1] == 0 {
		w.out = w.out[:len(w.out)-1]
	}
	return w.out
}

// rangeReader reads what a rangeWriter wrote.
type rangeReader struct {
	in    []byte
	code  uint32
	width uint32
}

func newRangeReader(in []byte) *rangeReader {
	r := &rangeReader{in: in, width: 1<<32 - 1}
	for range 4 {
		r.shift()
	}
	return r
}

func (r *rangeReader) shift() {
	next := byte(0)
	if len(r.in) > 0 {
		next, r.in = r.in[0], r.in[1:]
	}
	r.code = r.code<<8 | uint32(next)
}

func (r *rangeReader) decide(c *chance, _ uint) uint {
	split, bit := r.width>>16*c.zero(), uint(0)
	if r.code < split {
		r.width = split
	} else {
		r.code -= split
		r.width -= split
		bit = 1
	}
	c.learn(bit)
	r.settle()
	return bit
}

func (r *rangeReader) even(_ uint64, n int) uint64 {
	value := uint64(0)
	for n > 0 {
		k := min(n, 8)
		n -= k
		r.width >>= k
		part := min(r.code/r.width, 1<<k-1)
		r.code -= part * r.width
		value = value<<k | uint64(part)
		r.settle()
	}
	return value
}

func (r *rangeReader) settle() {
	for r.width < 1<<24 {
		r.width <<= 8
		r.shift()
	}
}

// Sizes of the alphabet of a magnitude: its length in bits, 0 to 64, and the bits
// below the highest that are worth learning.
const (
	lengthBits = 7
	learned    = 2
)

// magnitudes codes numbers of which most are about equally long.
type magnitudes struct {
	length [1 << lengthBits]chance
	top    [65][1 << learned]chance
}

// code returns the number, and whether it is one.
func (m *magnitudes) code(c coder, v uint64) (uint64, bool) {
	n := int(tree(c, m.length[:], uint(bits.Len64(v)), lengthBits))
	if n > 64 {
		return 0, false
	}
	if n < 2 {
		return uint64(n), true
	}
	below := n - 1
	k := min(learned, below)
	v &^= 1 << below
	high := uint64(tree(c, m.top[n][:], uint(v>>(below-k)), k))
	low := c.even(v&(1<<(below-k)-1), below-k)
	return 1<<below | high<<(below-k) | low, true
}

// tree codes n bits, highest first, each with a chance that depends on those above.
func tree(c coder, chances []chance, v uint, n int) uint {
	node := uint(1)
	for i := n - 1; i >= 0; i-- {
		node = node<<1 | c.decide(&chances[node], v>>i&1)
	}
	return node &^ (1 << n)
}
