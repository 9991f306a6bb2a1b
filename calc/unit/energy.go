package unit

// WattsPerSquareMeter is the power of light on a surface: an irradiance.
type WattsPerSquareMeter float64

// WattHoursPerSquareMeter is the energy of light on a surface over a time that
// the name of the value tells, most often a day: an irradiation.
type WattHoursPerSquareMeter float64

// MegajoulesPerSquareMeter converts megajoules per square meter.
func MegajoulesPerSquareMeter(e float64) WattHoursPerSquareMeter {
	return WattHoursPerSquareMeter(e * 1e6 / 3600)
}

// Megajoules reports e in megajoules per square meter.
func (e WattHoursPerSquareMeter) Megajoules() float64 { return float64(e) * 3600 / 1e6 }

// AmpereHours is an electric charge, the trade's measure of a battery at its
// own voltage.
type AmpereHours float64

// Teslas is a magnetic flux density.
type Teslas float64

// Nanoteslas converts nanoteslas.
func Nanoteslas(b float64) Teslas { return Teslas(b * 1e-9) }

// Nanoteslas reports b in nanoteslas.
func (b Teslas) Nanoteslas() float64 { return float64(b) * 1e9 }
