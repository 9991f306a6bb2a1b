package block

import (
	"fmt"
	"math"
)

// Reference says from where a reading was taken.
type Reference uint8

// The references. A later revision may add more.
const (
	BelowTransducer Reference = 1 // an instrument's reading, draft not yet added
	BelowSurface    Reference = 2 // a depth below the water surface, as typed
)

// Fields is a set of a sounding's optional values.
type Fields uint8

// The optional values a sounding can carry.
const (
	HasFirm       Fields = 1 << iota // FirmMM
	HasHDOP                          // HDOPCenti
	HasSatellites                    // Satellites
	HasHeading                       // HeadingCdeg
	HasTemp                          // WaterTempCC
)

// Sounding is one raw reading at one place, as the instrument or the person gave
// it. A block stores it exactly. The zero Sounding has no reference and cannot be
// packed.
type Sounding struct {
	TimeMs    int64     // Unix time, ms; 0 = unknown
	LatE7     int32     // latitude, 1e-7 degree, WGS 84, -90 to 90 degrees
	LonE7     int32     // longitude, 1e-7 degree, WGS 84, -180 to 180 degrees
	ReadingMM int32     // the reading, mm, positive down
	Reference Reference // what the reading is measured from; never 0
	Quality   uint8     // fix quality as the receiver gave it (NMEA 0183 GGA); 0 = none

	Has         Fields // which of the values below are present
	FirmMM      int32  // depth of the firm bottom under soft sediment, mm, same reference
	HDOPCenti   uint16 // horizontal dilution of precision, hundredths
	Satellites  uint8  // satellites used in the fix
	HeadingCdeg uint16 // heading, hundredths of a degree, true, 0 to 35999
	WaterTempCC int16  // water temperature, hundredths of a degree Celsius
}

// Check returns a *ValueError for a sounding that no reader could place.
func (s *Sounding) Check() error {
	switch {
	case s.LatE7 < -90e7 || s.LatE7 > 90e7:
		return &ValueError{"latitude (1e-7 degree)", int64(s.LatE7), -90e7, 90e7}
	case s.LonE7 < -180e7 || s.LonE7 > 180e7:
		return &ValueError{"longitude (1e-7 degree)", int64(s.LonE7), -180e7, 180e7}
	case s.Reference == 0:
		return &ValueError{"reference of the reading", 0, 1, math.MaxUint8}
	case s.HeadingCdeg > 35999:
		return &ValueError{"heading (0.01 degree)", int64(s.HeadingCdeg), 0, 35999}
	}
	return nil
}

// ValueError reports a value of a sounding outside its range.
type ValueError struct {
	Quantity      string
	Got, Min, Max int64
}

// Error names the quantity, the value and the limits.
func (e *ValueError) Error() string {
	return fmt.Sprintf("%s is %d, must lie between %d and %d", e.Quantity, e.Got, e.Min, e.Max)
}

// column is one column of soundings: its tag, the optional value it depends on
// (0 for a mandatory one), its range, and how to read and write it.
type column struct {
	tag      uint64
	has      Fields
	min, max int64
	get      func(*Sounding) int64
	set      func(*Sounding, int64)
}

// columns in the order of their tags, which is the order in the block.
var soundingColumns = []column{
	{1, 0, math.MinInt64, math.MaxInt64,
		func(s *Sounding) int64 { return s.TimeMs }, func(s *Sounding, v int64) { s.TimeMs = v }},
	{2, 0, -90e7, 90e7,
		func(s *Sounding) int64 { return int64(s.LatE7) }, func(s *Sounding, v int64) { s.LatE7 = int32(v) }},
	{3, 0, -180e7, 180e7,
		func(s *Sounding) int64 { return int64(s.LonE7) }, func(s *Sounding, v int64) { s.LonE7 = int32(v) }},
	{4, 0, math.MinInt32, math.MaxInt32,
		func(s *Sounding) int64 { return int64(s.ReadingMM) }, func(s *Sounding, v int64) { s.ReadingMM = int32(v) }},
	{5, 0, 1, math.MaxUint8,
		func(s *Sounding) int64 { return int64(s.Reference) }, func(s *Sounding, v int64) { s.Reference = Reference(v) }},
	{6, 0, 0, math.MaxUint8,
		func(s *Sounding) int64 { return int64(s.Quality) }, func(s *Sounding, v int64) { s.Quality = uint8(v) }},
	{16, HasFirm, math.MinInt32, math.MaxInt32,
		func(s *Sounding) int64 { return int64(s.FirmMM) }, func(s *Sounding, v int64) { s.FirmMM = int32(v) }},
	{17, HasHDOP, 0, math.MaxUint16,
		func(s *Sounding) int64 { return int64(s.HDOPCenti) }, func(s *Sounding, v int64) { s.HDOPCenti = uint16(v) }},
	{18, HasSatellites, 0, math.MaxUint8,
		func(s *Sounding) int64 { return int64(s.Satellites) }, func(s *Sounding, v int64) { s.Satellites = uint8(v) }},
	{19, HasHeading, 0, 35999,
		func(s *Sounding) int64 { return int64(s.HeadingCdeg) }, func(s *Sounding, v int64) { s.HeadingCdeg = uint16(v) }},
	{20, HasTemp, math.MinInt16, math.MaxInt16,
		func(s *Sounding) int64 { return int64(s.WaterTempCC) }, func(s *Sounding, v int64) { s.WaterTempCC = int16(v) }},
}

// AppendSoundings appends the columns of 1 to MaxCount soundings to dst. Stores
// use it, with ParseSoundings, to keep soundings outside a block.
func AppendSoundings(dst []byte, soundings []Sounding) ([]byte, error) {
	if len(soundings) == 0 || len(soundings) > MaxCount {
		return dst, &ValueError{"number of soundings", int64(len(soundings)), 1, MaxCount}
	}
	for i := range soundings {
		if err := soundings[i].Check(); err != nil {
			return dst, fmt.Errorf("sounding %d: %w", i, err)
		}
	}
	values := make([]int64, 0, len(soundings))
	present := make([]byte, (len(soundings)+7)/8)
	var body []byte
	for c := range soundingColumns {
		col := &soundingColumns[c]
		values = values[:0]
		clear(present)
		for i := range soundings {
			if s := &soundings[i]; s.Has&col.has == col.has {
				values = append(values, col.get(s))
				present[i/8] |= 1 << (i % 8)
			}
		}
		if len(values) == 0 {
			continue
		}
		body = body[:0]
		if col.has != 0 {
			if len(values) == len(soundings) {
				body = append(body, everywhere)
			} else {
				body = append(append(body, somewhere), present...)
			}
		}
		dst = appendColumn(dst, col.tag, appendInts(body, values))
	}
	return dst, nil
}

// The first byte of an optional column.
const (
	everywhere = 0 // a value for every sounding
	somewhere  = 1 // a bitmap follows, least significant bit first
)

// ParseSoundings unpacks count soundings from columns. Unknown columns are
// skipped; a missing mandatory column is an error, which wraps ErrCorrupt.
func ParseSoundings(columns []byte, count int) ([]Sounding, error) {
	if count < 1 || count > MaxCount {
		return nil, corrupt("%d soundings, must be 1 to %d", count, MaxCount)
	}
	out := make([]Sounding, count)
	values := make([]int64, count)
	known := soundingColumns
	err := eachColumn(columns, func(tag uint64, body []byte) error {
		for len(known) > 0 && known[0].tag < tag {
			if known[0].has == 0 {
				return corrupt("column %d is missing", known[0].tag)
			}
			known = known[1:]
		}
		if len(known) == 0 || known[0].tag != tag {
			return nil // of a later revision
		}
		col := &known[0]
		known = known[1:]
		if err := col.parse(body, out, values); err != nil {
			return fmt.Errorf("column %d: %w", tag, err)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for i := range known {
		if known[i].has == 0 {
			return nil, corrupt("column %d is missing", known[i].tag)
		}
	}
	return out, nil
}

// columnOf returns the column with a tag, nil if there is none.
func columnOf(tag uint64) *column {
	for i := range soundingColumns {
		if soundingColumns[i].tag == tag {
			return &soundingColumns[i]
		}
	}
	return nil
}

// presence returns the front of a body that says which of count soundings have a
// value, and how many have one.
func (c *column) presence(body []byte, count int) (front []byte, n int, err error) {
	switch {
	case c.has == 0:
		return nil, count, nil
	case len(body) == 0:
		return nil, 0, corrupt("presence is missing")
	case body[0] == everywhere:
		return body[:1], count, nil
	case body[0] != somewhere:
		return nil, 0, corrupt("presence %d is unknown", body[0])
	case len(body) < 1+(count+7)/8:
		return nil, 0, corrupt("presence is cut short")
	}
	front = body[:1+(count+7)/8]
	for i := range count {
		n += int(front[1+i/8] >> (i % 8) & 1)
	}
	return front, n, nil
}

// parse unpacks one column into the soundings; values is room for all of them.
func (c *column) parse(body []byte, out []Sounding, values []int64) error {
	front, n, err := c.presence(body, len(out))
	if err != nil {
		return err
	}
	if err := parseInts(body[len(front):], values[:n]); err != nil {
		return err
	}
	n = 0
	for i := range out {
		if len(front) > 1 && front[1+i/8]>>(i%8)&1 == 0 {
			continue
		}
		if v := values[n]; v < c.min || v > c.max {
			return corrupt("value %d must lie between %d and %d", v, c.min, c.max)
		}
		c.set(&out[i], values[n])
		out[i].Has |= c.has
		n++
	}
	return nil
}
