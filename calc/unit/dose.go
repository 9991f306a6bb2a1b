package unit

// PoundsPerAcreFoot converts pounds of a substance per acre-foot of water:
// 2.7194 lb per acre-foot is 1 mg/L.
func PoundsPerAcreFoot(r float64) MilligramsPerLiter {
	return MilligramsPerLiter(float64(Pounds(r)) * 1000 / cubicMetersPerAcFt)
}

// PoundsPerAcreFoot reports c in pounds of a substance per acre-foot of water.
func (c MilligramsPerLiter) PoundsPerAcreFoot() float64 {
	return Kilograms(float64(c) / 1000 * cubicMetersPerAcFt).Pounds()
}

// PoundsPerGallon converts pounds per US liquid gallon.
func PoundsPerGallon(d float64) KilogramsPerCubicMeter {
	return KilogramsPerCubicMeter(float64(Pounds(d)) / cubicMetersPerGal)
}

// PoundsPerGallon reports d in pounds per US liquid gallon.
func (d KilogramsPerCubicMeter) PoundsPerGallon() float64 {
	return Kilograms(float64(d) * cubicMetersPerGal).Pounds()
}

// Gallons converts US liquid gallons.
func Gallons(v float64) CubicMeters { return CubicMeters(v * cubicMetersPerGal) }
