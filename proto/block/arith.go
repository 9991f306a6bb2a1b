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

// coder is a range coder: a subdivision of the numbers of 32 bits, narrowed by each
// decision in proportion to its chance. A writer writes the decisions it is given; a
// reader returns those that were written and does not look at its arguments: what is
// coded is described once, for both ways.
type coder struct {
	reading bool
	width   uint32

	in   []byte // of a reader
	at   int    // how much of it was read, and of the zeros behind it
	code uint32

	out   []byte // of a writer: the settled bytes
	low   uint64 // start of the range; bit 32 is a carry into what waits
	head  byte   // last byte not yet written, as a carry may change it
	waits int    // bytes of 255 behind it
	begun bool   // there is a head
}

func newWriter(dst []byte) *coder { return &coder{width: 1<<32 - 1, out: dst} }

func newReader(in []byte) *coder {
	c := &coder{width: 1<<32 - 1, reading: true, in: in}
	for range 4 {
		c.take()
	}
	return c
}

// decide codes one decision.
func (c *coder) decide(odds *chance, bit uint) uint {
	split := c.width >> 16 * odds.zero()
	if c.reading {
		bit = 0
		if c.code >= split {
			c.code -= split
			bit = 1
		}
	} else if bit != 0 {
		c.low += uint64(split)
	}
	if bit == 0 {
		c.width = split
	} else {
		c.width -= split
	}
	odds.learn(bit)
	if c.width < 1<<24 {
		c.settle()
	}
	return bit
}

// even codes n decisions of even chance, highest first.
func (c *coder) even(value uint64, n int) uint64 {
	got := uint64(0)
	for n > 0 {
		k := min(n, 8)
		n -= k
		c.width >>= k
		part := uint32(value>>n) & (1<<k - 1)
		if c.reading {
			part = min(c.code/c.width, 1<<k-1)
			c.code -= part * c.width
		} else {
			c.low += uint64(part) * uint64(c.width)
		}
		got = got<<k | uint64(part)
		c.settle()
	}
	return got
}

// settle moves on by the bytes that are sure.
func (c *coder) settle() {
	for c.width < 1<<24 {
		c.width <<= 8
		if c.reading {
			c.take()
		} else {
			c.give()
		}
	}
}

// take reads a byte.
func (c *coder) take() {
	c.code <<= 8
	if c.at < len(c.in) {
		c.code |= uint32(c.in[c.at])
	}
	c.at++
}

// left returns how many bytes were not read.
func (c *coder) left() int { return max(0, len(c.in)-c.at) }

// give settles the highest byte of low.
func (c *coder) give() {
	if carry := byte(c.low >> 32); carry != 0 || c.low < 0xff<<24 {
		if c.begun {
			c.out = append(c.out, c.head+carry)
		}
		for ; c.waits > 0; c.waits-- {
			c.out = append(c.out, 0xff+carry)
		}
		c.head, c.begun = byte(c.low>>24), true
	} else {
		c.waits++
	}
	c.low = c.low & 0xffffff << 8
}

// finish writes as few bytes as tell the range from every other; a reader takes the
// bytes that are not there for zeros.
func (c *coder) finish() []byte {
	end := c.low + uint64(c.width)
	for n := 32; n >= 0; n-- {
		step := uint64(1) << n
		if v := (c.low + step - 1) &^ (step - 1); v < end {
			c.low = v
			break
		}
	}
	from := len(c.out)
	for range 5 {
		c.give()
	}
	for len(c.out) > from && c.out[len(c.out)-1] == 0 {
		c.out = c.out[:len(c.out)-1]
	}
	return c.out
}

// A magnitude's length in bits, 0 to 64, is short or long; of the bits below its
// highest so many are worth learning.
const (
	shortBits = 4 // of a short length, below 16
	longBits  = 6 // of a long one, less 16
	learned   = 2
)

// magnitudes codes numbers of which most are about equally long.
type magnitudes struct {
	long   chance
	shorts [1 << shortBits]chance
	longs  [1 << longBits]chance
	top    [65][1 << learned]chance
}

// code returns the number, and whether it is one.
func (m *magnitudes) code(c *coder, v uint64) (uint64, bool) {
	n := m.length(c, uint(bits.Len64(v)))
	if n > 64 {
		return 0, false
	}
	if n < 2 {
		return uint64(n), true
	}
	below := int(n) - 1
	k := min(learned, below)
	v &^= 1 << below
	high := uint64(tree(c, m.top[n][:], uint(v>>(below-k)), k))
	low := c.even(v&(1<<(below-k)-1), below-k)
	return 1<<below | high<<(below-k) | low, true
}

func (m *magnitudes) length(c *coder, n uint) uint {
	if c.decide(&m.long, n>>shortBits&1|n>>(shortBits+1)&1|n>>(shortBits+2)&1) == 0 {
		return tree(c, m.shorts[:], n, shortBits)
	}
	return 1<<shortBits + tree(c, m.longs[:], n-1<<shortBits, longBits)
}

// tree codes n bits, highest first, each with a chance that depends on those above.
func tree(c *coder, chances []chance, v uint, n int) uint {
	node := uint(1)
	for i := n - 1; i >= 0; i-- {
		node = node<<1 | c.decide(&chances[node], v>>i&1)
	}
	return node &^ (1 << n)
}
