package intake

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

const (
	// maxFixGap is how far apart two fixes may be for a depth between them.
	maxFixGap = 2 * time.Second
	// How long a heading holds after its sentence, and a water temperature before
	// and after.
	headingHolds = 2 * time.Second
	tempHolds    = 5 * time.Minute
	// minCourseKn is the speed below which a course over ground says nothing
	// about the heading: 0.5 m/s. Common practice, no source.
	minCourseKn = 0.5 * 3600 / 1852
	// maxOffsetM bounds a transducer offset that can be one.
	maxOffsetM = 5
)

// epoch is one instant of the receiver.
type epoch struct {
	clock      time.Duration // time of day, UTC
	at         time.Time
	fixed      bool
	lat, lon   float64
	quality    *int
	satellites *int
	hdop       *float64
}

// clock is a time of day as it arrived, with its day if the sentence gives one.
type clock struct {
	clock time.Duration
	day   time.Time // zero where not given
	epoch int       // index of the epoch it opened, -1 for none
}

// sounded is one depth as it arrived.
type sounded struct {
	line    int
	depthM  float64
	epoch   int // index of the latest epoch, -1 before the first
	heading *float64
	temps   int // water temperatures that had arrived before it
	offset  *float64
}

// warmth is a water temperature as it arrived.
type warmth struct {
	tempC *float64
	epoch int // index of the latest epoch, -1 before the first
}

// held is a value that other sentences refer to for a while.
type held struct {
	v  *float64
	at time.Duration
}

func (h held) within(now, limit time.Duration) *float64 {
	if h.v == nil || (now-h.at).Abs() > limit && 24*time.Hour-(now-h.at).Abs() > limit {
		return nil
	}
	return h.v
}

// log is the state of reading one file.
type log struct {
	problems
	positionKind, depthKind string
	epochs                  []epoch
	clocks                  []clock
	depths                  []sounded
	temps                   []warmth
	compass, course         held
	offset                  *float64
	offsetSeen              bool
	noFix, lost             count
	out                     *Soundings
}

// count is a number of lines and the first of them.
type count struct{ n, line int }

func (c *count) add(line int) {
	if c.n++; c.n == 1 {
		c.line = line
	}
}

// ParseNMEA reads a log of NMEA 0183 sentences: positions from GGA (from RMC in
// a log without a single GGA), depths from DPT (from DBT in a log without a DPT
// depth), the day from RMC or ZDA, and where they are there the water
// temperature from MTW and the heading from HDT, else the course of VTG or RMC
// above 0.5 m/s. Talkers do not matter. A sentence needs its checksum. Tag blocks
// and times that a logger wrote before the dollar sign are skipped.
//
// Depth sentences carry no time, so it is told from the order of arrival: the
// depths between two fixes are spread evenly, the first at the time of the fix
// before it. A single depth a second thus takes that fix's time, and is late or
// early by what the instruments take; that latency is found by running a line
// both ways, and is not corrected here. The position is interpolated between
// fixes at most 2 s apart; depths elsewhere are dropped and counted, as are
// depths of zero, by which a sounder says that it lost the bottom. Fixes of
// quality 0 are not used. Times may run across midnight.
//
// Readings are BelowTransducer, whatever the offset field of DPT says; see
// Soundings.OffsetM.
func ParseNMEA(name string, data []byte) (*Soundings, error) {
	text, err := plainText(name, data)
	if err != nil {
		return nil, err
	}
	g := &log{problems: problems{file: name}, out: &Soundings{Format: FormatNMEA}}
	var all []sentence
	for l := range lines(text) {
		all = append(all, sentences(l, &g.problems)...)
	}
	g.chooseKinds(all)
	for _, s := range all {
		g.read(s)
	}
	g.pair(g.date())
	g.conclude(all)
	g.out.Problems = g.done()
	return g.out, nil
}

// chooseKinds settles which sentences give position and depth.
func (g *log) chooseKinds(all []sentence) {
	g.positionKind, g.depthKind = "RMC", "DBT"
	for _, s := range all {
		switch s.kind {
		case "GGA":
			g.positionKind = "GGA"
		case "DPT":
			if v, ok := s.number(0); ok && v > 0 {
				g.depthKind = "DPT"
			}
		}
	}
}

func (g *log) read(s sentence) {
	switch s.kind {
	case "GGA":
		g.gga(s)
	case "RMC":
		g.rmc(s)
	case "ZDA":
		g.zda(s)
	case "DPT":
		if g.depthKind == "DPT" {
			g.dpt(s)
		}
	case "DBT":
		if g.depthKind == "DBT" {
			g.dbt(s)
		}
	case "MTW":
		if v, ok := g.value(s, 0, -5, 60, "water temperature in °C"); ok && s.field(1) == "C" {
			g.temps = append(g.temps, warmth{&v, len(g.epochs) - 1})
		}
	case "HDT":
		if v, ok := g.value(s, 0, 0, 360, "heading in degrees"); ok {
			g.compass = held{bearing(v), g.now()}
		}
	case "VTG":
		g.setCourse(s, 0, 4)
	}
}

// now returns the time of day of the latest epoch.
func (g *log) now() time.Duration {
	if n := len(g.epochs); n > 0 {
		return g.epochs[n-1].clock
	}
	return 0
}

// value returns field i of a sentence. Empty fields are passed over; what cannot
// be is told.
func (g *log) value(s sentence, i int, lo, hi float64, what string) (float64, bool) {
	if s.field(i) == "" {
		return 0, false
	}
	v, ok := s.number(i)
	if !ok {
		g.add(CodeValueInvalid, s.line, s.kind, "nothing to do for a few lines; for many, check the instrument", "%q is no %s", clip(s.field(i)), what)
		return 0, false
	}
	if v < lo || v > hi {
		g.add(CodeValueRange, s.line, s.kind, "nothing to do for a few lines; for many, check the instrument", "%g is out of range for the %s (%g to %g)", v, what, lo, hi)
		return 0, false
	}
	return v, true
}

func bearing(v float64) *float64 {
	v = math.Mod(v, 360)
	return &v
}

func (g *log) setCourse(s sentence, course, speed int) {
	v, ok := s.number(course)
	if kn, okSpeed := s.number(speed); ok && okSpeed && kn > minCourseKn && v >= 0 && v <= 360 {
		g.course = held{bearing(v), g.now()}
	}
}

// gga reads time, position, quality, satellites and dilution.
func (g *log) gga(s sentence) {
	e, ok := g.clockOf(s)
	if !ok {
		return
	}
	if q, ok := s.number(5); ok && q >= 1 && q <= 9 {
		quality := int(q)
		e.quality = &quality
	}
	if v, ok := s.number(6); ok && v >= 0 && v < 200 {
		n := int(v)
		e.satellites = &n
	}
	if v, ok := s.number(7); ok && v > 0 && v < 100 {
		e.hdop = &v
	}
	if e.quality != nil {
		e.lat, e.lon, e.fixed = g.position(s, 1)
	} else {
		g.noFix.add(s.line)
	}
	g.clocks = append(g.clocks, clock{clock: e.clock, epoch: g.open(e)})
}

// rmc reads the date, the course and, in a log without GGA, the position.
func (g *log) rmc(s sentence) {
	valid := s.field(1) == "A"
	if g.positionKind == "RMC" {
		if e, ok := g.clockOf(s); ok {
			if valid {
				e.lat, e.lon, e.fixed = g.position(s, 2)
			} else {
				g.noFix.add(s.line)
			}
			g.clocks = append(g.clocks, clock{clock: e.clock, epoch: g.open(e)})
		}
	}
	if !valid {
		return // the clock of a receiver without a fix may be anything
	}
	g.setCourse(s, 7, 6)
	if day, err := time.Parse("020106", s.field(8)); err == nil {
		g.dated(s, day)
	}
}

// zda reads the full date.
func (g *log) zda(s sentence) {
	if day, err := time.Parse("02 01 2006", s.field(1)+" "+s.field(2)+" "+s.field(3)); err == nil {
		g.dated(s, day)
	}
}

func (g *log) dated(s sentence, day time.Time) {
	if e, ok := g.clockOf(s); ok && day.Year() >= 2000 {
		g.clocks = append(g.clocks, clock{clock: e.clock, day: day, epoch: -1})
	}
}

// clockOf returns an epoch at the time of day in a sentence's first field.
func (g *log) clockOf(s sentence) (epoch, bool) {
	text := s.field(0)
	v, ok := parseNumber(text)
	whole, _, _ := strings.Cut(text, ".")
	if !ok || len(whole) != 6 || v < 0 {
		if text != "" {
			g.add(CodeValueInvalid, s.line, s.kind, "nothing to do for a few lines; for many, check the receiver", "%q is no time of day", clip(text))
		}
		return epoch{}, false
	}
	hms := int(v)
	h, m, sec := hms/10000, hms/100%100, v-float64(hms/100*100)
	if h > 23 || m > 59 || sec >= 61 {
		g.add(CodeValueInvalid, s.line, s.kind, "nothing to do for a few lines; for many, check the receiver", "%q is no time of day", clip(text))
		return epoch{}, false
	}
	clock := time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(math.Round(sec*1000))*time.Millisecond
	return epoch{clock: clock}, true
}

func (g *log) position(s sentence, i int) (lat, lon float64, ok bool) {
	lat, okLat := degrees(s.field(i), s.field(i+1), "N", "S")
	lon, okLon := degrees(s.field(i+2), s.field(i+3), "E", "W")
	if !okLat || !okLon || !validPosition(lat, lon) {
		g.add(CodeValueInvalid, s.line, s.kind, "nothing to do for a few lines; for many, check the receiver",
			"%q is no position", clip(strings.Join(s.fields[min(i, len(s.fields)):min(i+4, len(s.fields))], ",")))
		return 0, 0, false
	}
	return lat, lon, true
}

// open adds an epoch, or completes the latest if it has the same time, and
// returns its index.
func (g *log) open(e epoch) int {
	if n := len(g.epochs); n > 0 && g.epochs[n-1].clock == e.clock {
		if e.fixed && !g.epochs[n-1].fixed {
			g.epochs[n-1] = e
		}
		return n - 1
	}
	g.epochs = append(g.epochs, e)
	return len(g.epochs) - 1
}

// dpt reads a depth below the transducer and the offset.
func (g *log) dpt(s sentence) {
	depthM, ok := g.depth(s, 0, 1)
	if !ok {
		return
	}
	offsetM, ok := s.number(1)
	if !ok {
		offsetM = 0
	}
	if math.Abs(offsetM) > maxOffsetM {
		g.add(CodeValueRange, s.line, "DPT offset", "set the transducer offset on the sounder, or give the draft by hand", "%g m is no offset of a transducer; it was left out", offsetM)
		offsetM = 0
	}
	g.noteOffset(s, offsetM)
	g.sound(s, depthM, g.offset)
}

// noteOffset follows the offset field from line to line.
func (g *log) noteOffset(s sentence, offsetM float64) {
	if g.offsetSeen && (g.offset == nil && offsetM == 0 || g.offset != nil && *g.offset == offsetM) {
		return
	}
	if g.offsetSeen {
		before := 0.0
		if g.offset != nil {
			before = *g.offset
		}
		g.add(CodeNMEAOffsetChanged, s.line, "DPT offset", "find out which one holds and give the draft by hand", "the transducer offset changes here from %g m to %g m", before, offsetM)
	}
	g.offsetSeen = true
	switch {
	case offsetM < 0:
		g.add(CodeNMEAOffsetKeel, s.line, "DPT offset", "measure from the transducer up to the water line and give the draft by hand",
			"the offset of %g m is negative: it is the distance to the keel, not the draft, and is not used", offsetM)
	case offsetM == 0:
		g.add(CodeNMEAOffsetMissing, s.line, "DPT offset", "measure from the transducer up to the water line and give the draft by hand",
			"the sounder knows no transducer offset: its depths count from the transducer, not from the surface")
	}
	g.offset = nil
	if offsetM != 0 {
		g.offset = &offsetM
	}
}

// dbt reads a depth below the transducer in meters, else feet, else fathoms.
func (g *log) dbt(s sentence) {
	i, toM := 2, 1.0
	switch {
	case s.field(2) != "":
	case s.field(0) != "":
		i, toM = 0, metersPerFoot
	case s.field(4) != "":
		i, toM = 4, 6*metersPerFoot
	}
	if depthM, ok := g.depth(s, i, toM); ok {
		g.sound(s, depthM, nil)
	}
}

// depth returns the depth in field i, or counts it as lost.
func (g *log) depth(s sentence, i int, toM float64) (float64, bool) {
	if s.field(i) == "" {
		g.lost.add(s.line)
		return 0, false
	}
	v, ok := g.value(s, i, 0, MaxDepthM/toM, "depth")
	switch {
	case !ok:
		g.out.Dropped++
		return 0, false
	case v == 0:
		g.lost.add(s.line)
		return 0, false
	}
	return v * toM, true
}

func (g *log) sound(s sentence, depthM float64, offset *float64) {
	heading := g.compass.within(g.now(), headingHolds)
	if heading == nil {
		heading = g.course.within(g.now(), headingHolds)
	}
	g.depths = append(g.depths, sounded{
		line: s.line, depthM: depthM, epoch: len(g.epochs) - 1,
		heading: heading, temps: len(g.temps), offset: offset,
	})
}

// date gives every epoch its instant. It reports whether the day is known; if
// not, instants are right between themselves only.
func (g *log) date() bool {
	dated := slices.ContainsFunc(g.clocks, func(c clock) bool { return !c.day.IsZero() })
	if !dated && len(g.clocks) > 0 {
		g.clocks[0].day = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	for i, at := range instants(g.clocks) {
		if e := g.clocks[i].epoch; e >= 0 {
			g.epochs[e].at = at
		}
	}
	return dated
}

// instants places clocks in time. One without a day takes it from its neighbor
// before or after, whichever is nearer: a log may be two logs strung together,
// and the date may come after the position.
func instants(clocks []clock) []time.Time {
	back := make([]time.Time, len(clocks))
	for i := len(clocks) - 1; i >= 0; i-- {
		switch c := clocks[i]; {
		case !c.day.IsZero():
			back[i] = c.day.Add(c.clock)
		case i+1 < len(clocks) && !back[i+1].IsZero():
			back[i] = nearestDay(c.clock, back[i+1])
		}
	}
	at := make([]time.Time, len(clocks))
	for i, c := range clocks {
		at[i] = back[i]
		if !c.day.IsZero() || i == 0 {
			continue
		}
		fore := nearestDay(c.clock, at[i-1])
		if at[i].IsZero() || fore.Sub(at[i-1]).Abs() <= back[i+1].Sub(back[i]).Abs() {
			at[i] = fore
		}
	}
	return at
}

// nearestDay returns the instant with the given time of day closest to ref.
func nearestDay(clock time.Duration, ref time.Time) time.Time {
	at := ref.Truncate(24 * time.Hour).Add(clock)
	switch d := at.Sub(ref); {
	case d > 12*time.Hour:
		return at.Add(-24 * time.Hour)
	case d < -12*time.Hour:
		return at.Add(24 * time.Hour)
	}
	return at
}

// pair gives every depth its time and place.
func (g *log) pair(dated bool) {
	var adrift count
	for lo := 0; lo < len(g.depths); {
		hi := lo + 1
		for hi < len(g.depths) && g.depths[hi].epoch == g.depths[lo].epoch {
			hi++
		}
		for k, d := range g.depths[lo:hi] {
			r, ok := g.place(d.epoch, k, hi-lo)
			if !ok {
				adrift.add(d.line)
				continue
			}
			if !dated {
				r.Time = time.Time{}
			}
			r.ReadingM, r.Reference = d.depthM, BelowTransducer
			r.HeadingDeg, r.WaterTempC = d.heading, g.tempC(d)
			r.File, r.Line = g.file, d.line
			g.out.Readings = append(g.out.Readings, r)
		}
		lo = hi
	}
	if adrift.n > 0 {
		g.out.Dropped += adrift.n
		g.add(CodeNoPosition, adrift.line, "", "nothing to do for a few; for many, check the receiver and log GGA at least once a second",
			"%s without fixes at most %g s apart around them were dropped, the first here", plural(adrift.n, "depth"), maxFixGap.Seconds())
	}
	if !dated && len(g.out.Readings) > 0 {
		g.add(CodeNMEANoDate, 0, "date", "switch RMC or ZDA on at the receiver", "no sentence gives the date: soundings are kept in their order, without time")
	}
}

// tempC returns the water temperature at a depth: the latest before it, else the
// first after it, as long as it holds.
func (g *log) tempC(d sounded) *float64 {
	for _, i := range []int{d.temps - 1, d.temps} {
		if i < 0 || i >= len(g.temps) {
			continue
		}
		age := g.epochs[d.epoch].at.Sub(g.epochs[max(0, g.temps[i].epoch)].at)
		if age.Abs() <= tempHolds {
			return g.temps[i].tempC
		}
	}
	return nil
}

// place returns time, position and quality of depth k of n that arrived after
// epoch i.
func (g *log) place(i, k, n int) (Reading, bool) {
	if i < 0 {
		return Reading{}, false
	}
	e := g.epochs[i]
	at := e.at
	if i+1 < len(g.epochs) {
		gap := g.epochs[i+1].at.Sub(e.at)
		if gap <= 0 || gap > maxFixGap {
			return Reading{}, false // no telling when in the gap the depth was taken
		}
		at = at.Add(gap * time.Duration(k) / time.Duration(n))
	} else if k > 0 {
		return Reading{}, false
	}
	if k == 0 && e.fixed {
		return e.reading(at), true
	}
	before, ok := g.fixed(i, -1, e.at)
	if !ok {
		return Reading{}, false
	}
	after, ok := g.fixed(i+1, +1, before.at)
	if !ok || !after.at.After(at) {
		return Reading{}, false
	}
	t := at.Sub(before.at).Seconds() / after.at.Sub(before.at).Seconds()
	r := before.reading(at)
	if t > 0.5 {
		r = after.reading(at)
	}
	r.Lat = before.lat + t*(after.lat-before.lat)
	r.Lon = math.Remainder(before.lon+t*math.Remainder(after.lon-before.lon, 360), 360)
	return r, true
}

// fixed returns the first epoch with a fix from index i on in the direction
// step, not further than maxFixGap from the instant ref.
func (g *log) fixed(i, step int, ref time.Time) (epoch, bool) {
	for ; i >= 0 && i < len(g.epochs); i += step {
		e := g.epochs[i]
		d := e.at.Sub(ref) * time.Duration(step)
		if d < 0 || d > maxFixGap {
			break
		}
		if e.fixed {
			return e, true
		}
	}
	return epoch{}, false
}

func (e epoch) reading(at time.Time) Reading {
	return Reading{Time: at, Lat: e.lat, Lon: e.lon, Quality: e.quality, Satellites: e.satellites, HDOP: e.hdop}
}

// conclude tells what concerns the log as a whole.
func (g *log) conclude(all []sentence) {
	g.out.OffsetM = g.commonOffset()
	if g.lost.n > 0 {
		g.out.Dropped += g.lost.n
		g.add(CodeBottomLost, g.lost.line, g.depthKind, "nothing to do for a few; for many, check for weeds, air under the transducer or water too shallow for it",
			"%s of zero or without a value were dropped, the first here: the sounder had lost the bottom", plural(g.lost.n, "depth"))
	}
	if g.noFix.n > 0 {
		g.add(CodeNoFix, g.noFix.line, g.positionKind, "nothing to do for a few; for many, give the antenna a free view of the sky",
			"%s without a fix (quality 0), the first here, were not used", plural(g.noFix.n, "position"))
	}
	if len(g.out.Readings) == 0 {
		g.add(CodeNoSoundings, 0, "", "log GGA, RMC and DPT with checksums, and see the other messages on this file", "holds no usable sounding; its sound sentences: %s", tally(all))
		return
	}
	if g.positionKind == "RMC" {
		g.add(CodeNMEANoGGA, g.out.Readings[0].Line, "GGA", "switch GGA on at the receiver", "the log has no GGA: positions are from RMC, their quality is not known")
	}
	if g.depthKind == "DBT" {
		g.add(CodeNMEAOffsetMissing, g.out.Readings[0].Line, "DBT", "measure from the transducer up to the water line and give the draft by hand, or switch DPT on at the sounder",
			"depths are from DBT, which count from the transducer and carry no offset")
	}
}

// commonOffset returns the offset of most depths; of two the one that came last.
func (g *log) commonOffset() *float64 {
	offsetM := func(d sounded) float64 {
		if d.offset == nil {
			return 0
		}
		return *d.offset
	}
	n := map[float64]int{}
	for _, d := range g.depths {
		n[offsetM(d)]++
	}
	var best sounded
	for _, d := range g.depths {
		if n[offsetM(d)] >= n[offsetM(best)] {
			best = d
		}
	}
	if offsetM(best) < 0 {
		return nil
	}
	return best.offset
}

// tally lists the kinds of sentences of a log and how many there are.
func tally(all []sentence) string {
	var kinds []string
	n := map[string]int{}
	for _, s := range all {
		if n[s.kind]++; n[s.kind] == 1 {
			kinds = append(kinds, s.kind)
		}
	}
	if len(kinds) == 0 {
		return "none"
	}
	parts := make([]string, len(kinds))
	for i, k := range kinds {
		parts[i] = fmt.Sprintf("%d %s", n[k], k)
	}
	return enumerate(parts)
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
