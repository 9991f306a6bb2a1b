package block

import "encoding/binary"

// A column is: tag (uvarint), length of the body (uvarint), body. Tags ascend.
// A body of integers starts with one of these bytes.
const (
	encRuns   = 0 // pairs: value (zigzag), run length (uvarint)
	encDelta  = 1 // first value, then differences, all zigzag
	encDelta2 = 2 // first value, first difference, then differences of differences
)

func appendColumn(dst []byte, tag uint64, body []byte) []byte {
	dst = binary.AppendUvarint(dst, tag)
	dst = binary.AppendUvarint(dst, uint64(len(body)))
	return append(dst, body...)
}

// eachColumn calls f for each column in turn.
func eachColumn(b []byte, f func(tag uint64, body []byte) error) error {
	last := uint64(0)
	for len(b) > 0 {
		tag, n := binary.Uvarint(b)
		if n <= 0 {
			return corrupt("column tag is cut short")
		}
		b = b[n:]
		size, n := binary.Uvarint(b)
		if n <= 0 || size > uint64(len(b)-n) {
			return corrupt("column %d is cut short", tag)
		}
		if tag <= last {
			return corrupt("column %d is out of order", tag)
		}
		last = tag
		if err := f(tag, b[n:n+int(size)]); err != nil {
			return err
		}
		b = b[n+int(size):]
	}
	return nil
}

// appendInts appends the values in the shortest of the three encodings; among
// equals the one with the lowest number. Arithmetic wraps in 64 bits, so every
// int64 survives.
func appendInts(dst []byte, values []int64) []byte {
	var runs, delta, delta2 int
	var prev, step int64
	run := 0
	for i, v := range values {
		if i > 0 && v == prev {
			run++
		} else {
			if i > 0 {
				runs += uvarintLen(uint64(run))
			}
			runs += varintLen(v)
			run = 1
		}
		d := v - prev
		delta += varintLen(d)
		if i == 0 {
			delta2 += varintLen(v)
		} else {
			delta2 += varintLen(d - step)
			step = d
		}
		prev = v
	}
	runs += uvarintLen(uint64(run))

	switch {
	case runs <= delta && runs <= delta2:
		return appendRuns(append(dst, encRuns), values)
	case delta <= delta2:
		return appendDeltas(append(dst, encDelta), values)
	}
	return appendDeltas2(append(dst, encDelta2), values)
}

func appendRuns(dst []byte, values []int64) []byte {
	for i := 0; i < len(values); {
		j := i
		for j < len(values) && values[j] == values[i] {
			j++
		}
		dst = binary.AppendVarint(dst, values[i])
		dst = binary.AppendUvarint(dst, uint64(j-i))
		i = j
	}
	return dst
}

func appendDeltas(dst []byte, values []int64) []byte {
	var prev int64
	for _, v := range values {
		dst = binary.AppendVarint(dst, v-prev)
		prev = v
	}
	return dst
}

func appendDeltas2(dst []byte, values []int64) []byte {
	var prev, step int64
	for i, v := range values {
		d := v - prev
		if i == 0 {
			dst = binary.AppendVarint(dst, v)
		} else {
			dst = binary.AppendVarint(dst, d-step)
			step = d
		}
		prev = v
	}
	return dst
}

// parseInts fills values from a body and refuses a byte too few or too many.
func parseInts(body []byte, values []int64) error {
	if len(body) == 0 {
		return corrupt("encoding is missing")
	}
	enc := body[0]
	body = body[1:]
	var prev, step int64
	for i := 0; i < len(values); {
		v, n := binary.Varint(body)
		if n <= 0 {
			return corrupt("value is cut short")
		}
		body = body[n:]
		switch enc {
		case encRuns:
			run, n := binary.Uvarint(body)
			if n <= 0 || run == 0 || run > uint64(len(values)-i) {
				return corrupt("run length does not fit")
			}
			body = body[n:]
			for range run {
				values[i] = v
				i++
			}
			continue
		case encDelta:
			prev += v
		case encDelta2:
			if i == 0 {
				prev = v
			} else {
				step += v
				prev += step
			}
		default:
			return corrupt("encoding %d is unknown", enc)
		}
		values[i] = prev
		i++
	}
	if len(body) != 0 {
		return corrupt("%d bytes left over", len(body))
	}
	return nil
}

func uvarintLen(v uint64) int {
	n := 1
	for v >= 0x80 {
		v >>= 7
		n++
	}
	return n
}

func varintLen(v int64) int { return uvarintLen(uint64(v)<<1 ^ uint64(v>>63)) }
