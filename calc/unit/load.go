package unit

const (
	newtonsPerPound = 4.4482216152605 // 0.45359237 × 9.80665
	pascalsPerPSF   = newtonsPerPound / (metersPerFoot * metersPerFoot)
)

// PoundsForce converts pounds of force.
func PoundsForce(lbf float64) Newtons { return Newtons(lbf * newtonsPerPound) }

// PoundsForce reports f in pounds of force.
func (f Newtons) PoundsForce() float64 { return float64(f) / newtonsPerPound }

// PoundFeet converts pound-feet of moment.
func PoundFeet(m float64) NewtonMeters { return NewtonMeters(m * newtonsPerPound * metersPerFoot) }

// PoundFeet reports m in pound-feet.
func (m NewtonMeters) PoundFeet() float64 { return float64(m) / (newtonsPerPound * metersPerFoot) }

// PSF converts pounds per square foot of wind or of bearing pressure.
func PSF(p float64) PascalsGauge { return PascalsGauge(p * pascalsPerPSF) }

// PSF reports p in pounds per square foot.
func (p PascalsGauge) PSF() float64 { return float64(p) / pascalsPerPSF }

// PascalsPerMeter is a pressure that grows with depth: the lateral bearing of
// soil per meter below grade.
type PascalsPerMeter float64

// PSFPerFoot converts pounds per square foot per foot of depth.
func PSFPerFoot(s float64) PascalsPerMeter { return PascalsPerMeter(s * pascalsPerPSF / metersPerFoot) }

// PSFPerFoot reports s in pounds per square foot per foot of depth.
func (s PascalsPerMeter) PSFPerFoot() float64 { return float64(s) / (pascalsPerPSF / metersPerFoot) }

// Hertz is a frequency in cycles per second.
type Hertz float64

// CubicFeet converts cubic feet.
func CubicFeet(v float64) CubicMeters { return CubicMeters(v * cubicMetersPerCuFt) }

// CubicFeet reports v in cubic feet.
func (v CubicMeters) CubicFeet() float64 { return float64(v) / cubicMetersPerCuFt }
