package unit

import "math"

// MilligramsPerLiter is a concentration; in fresh water 1 mg/L is 1 g/m³ and,
// within a part in a thousand, one part per million by weight.
type MilligramsPerLiter float64

// Joules is an energy.
type Joules float64

// JoulesPerSquareMeter is an energy per area of water surface.
type JoulesPerSquareMeter float64

// PerSecond is a rate or an angular frequency.
type PerSecond float64

// Seconds is a span of time as engineering needs it: unlike time.Duration it
// can be infinite, which is the answer when nothing flows.
type Seconds float64

// Never is the span that does not end.
func Never() Seconds { return Seconds(math.Inf(1)) }

// Hours converts hours.
func Hours(h float64) Seconds { return Seconds(h * 3600) }

// Hours reports s in hours.
func (s Seconds) Hours() float64 { return float64(s) / 3600 }

// Days reports s in days of 24 hours.
func (s Seconds) Days() float64 { return float64(s) / 86400 }
