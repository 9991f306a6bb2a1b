package intake

import (
	"fmt"
	"strconv"
	"strings"
)

// sentence is one NMEA 0183 sentence whose checksum holds.
type sentence struct {
	line   int
	kind   string   // the last three letters of its address; the talker does not matter
	fields []string // without the address
}

// field returns field i, counted from 0 after the address; empty where the
// sentence ends before it.
func (s sentence) field(i int) string {
	if i < len(s.fields) {
		return strings.TrimSpace(s.fields[i])
	}
	return ""
}

// number returns field i as a number. It reports false where the field is empty
// or no number.
func (s sentence) number(i int) (float64, bool) { return parseNumber(s.field(i)) }

// maxSentence is the longest line read. The standard's limit is 82 characters,
// which precise receivers exceed.
const maxSentence = 1024

// hasSentence reports whether a line looks like one of a log: an address of two
// letters of talker and three of type, after whatever a logger put before it.
func hasSentence(s string) bool {
	for _, part := range strings.Split(clipTo(s, maxSentence), "$")[1:] {
		address, _, ok := strings.Cut(part, ",")
		if ok && len(address) == 5 && strings.Trim(address, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == "" {
			return true
		}
	}
	return false
}

func clipTo(s string, n int) string { return s[:min(len(s), n)] }

// sentences returns the sound sentences of a line. A line may hold several where
// a line end was lost; what a logger wrote before the first dollar sign, a time
// or a tag block, is skipped.
func sentences(l line, ps *problems) []sentence {
	if len(l.text) > maxSentence {
		ps.add(CodeNMEALineLong, l.n, "", "check the logger's line ends", "has %d characters; a sentence has at most %d", len(l.text), maxSentence)
		return nil
	}
	parts := strings.Split(l.text, "$")
	if len(parts) == 1 {
		if text := strings.TrimSpace(l.text); text != "" && text[0] != '!' && text[0] != '#' {
			ps.add(CodeNMEANoise, l.n, "", "nothing to do: the line was skipped", "holds no sentence: %q", clip(text))
		}
		return nil
	}
	var out []sentence
	for _, part := range parts[1:] {
		body, sum, ok := strings.Cut(part, "*")
		want := fmt.Sprintf("%02X", checksum(body))
		switch {
		case !ok:
			ps.add(CodeNMEAChecksum, l.n, "checksum", "set the instrument to send checksums; a single line is a cut one", "has no checksum and was dropped: %s", clip("$"+part))
			continue
		case len(sum) < 2 || !strings.EqualFold(sum[:2], want):
			ps.add(CodeNMEAChecksum, l.n, "checksum", "nothing to do for a few lines; for many, check cable and baud rate",
				"checksum %q does not fit the sentence, which sums to %s; it was dropped: %s", clipTo(sum, 2), want, clip("$"+part))
			continue
		}
		address, rest, _ := strings.Cut(body, ",")
		if len(address) != 5 || address[0] == 'P' { // P marks a maker's own sentence
			continue
		}
		out = append(out, sentence{line: l.n, kind: address[2:], fields: strings.Split(rest, ",")})
	}
	return out
}

// checksum is the exclusive or of the characters between dollar sign and star.
func checksum(body string) byte {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return sum
}

// degrees reads a position field of the form dddmm.mmmm and its hemisphere.
func degrees(value, hemisphere, positive, negative string) (float64, bool) {
	v, ok := parseNumber(value)
	if !ok || v < 0 || strings.HasPrefix(value, "-") {
		return 0, false
	}
	whole, _, _ := strings.Cut(value, ".")
	if len(whole) < 3 {
		return 0, false
	}
	deg, err := strconv.Atoi(whole[:len(whole)-2])
	minutes, ok := parseNumber(value[len(whole)-2:])
	if err != nil || !ok || minutes >= 60 {
		return 0, false
	}
	d := float64(deg) + minutes/60
	switch hemisphere {
	case positive:
		return d, true
	case negative:
		return -d, true
	}
	return 0, false
}
