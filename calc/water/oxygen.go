package water

import (
	"math"

	"pondwright/calc/unit"
)

// OxygenSaturation reports how much oxygen fresh water holds against air at
// temperature t and atmospheric pressure p,
//
//	ln C* = −139.34411 + 1.575701e5/T − 6.642308e7/T² + 1.243800e10/T³ − 8.621949e11/T⁴
//	C = C* P (1 − pw/P)(1 − θP) / [(1 − pw)(1 − θ)]
//
// with P and the vapor pressure pw in atmospheres (Benson & Krause, Limnol.
// Oceanogr. 29, 1984; Standard Methods 4500-O; the pressure terms from memory of
// the latter). Valid from 0 to 40 °C and 0.5 to 1.1 atm; outside it returns a
// *unit.RangeError.
func OxygenSaturation(t unit.Kelvin, p unit.Pascals) (unit.MilligramsPerLiter, error) {
	const src = "Benson & Krause 1984, Standard Methods 4500-O"
	if err := checkTemperature(t, src); err != nil {
		return 0, err
	}
	pAtm := float64(p) / float64(unit.StandardPressure)
	if err := unit.CheckRange("pressure (atm)", pAtm, 0.5, 1.1, src); err != nil {
		return 0, err
	}
	tK, tC := float64(t), t.Celsius()
	c := math.Exp(-139.34411 + (1.575701e5+(-6.642308e7+(1.243800e10-8.621949e11/tK)/tK)/tK)/tK)
	pw := math.Exp(vapor0 - (vapor1+vapor2/tK)/tK)
	theta := theta0 + theta1*tC + theta2*tC*tC
	c *= pAtm * (1 - pw/pAtm) * (1 - theta*pAtm) / ((1 - pw) * (1 - theta))
	return unit.MilligramsPerLiter(c), nil
}

// Bubbles is the size a diffuser makes.
type Bubbles uint8

// The sizes: membranes and porous stones are fine, open hose and drilled pipe
// coarse.
const (
	FineBubbles Bubbles = iota
	CoarseBubbles
)

// StandardTransfer reports the oxygen that bubbles alone would give to clean
// water without oxygen at 20 °C: 0.2786 kg in each standard cubic meter of air,
// of which 2 % per foot of submergence dissolves from fine and 0.75 % from
// coarse bubbles, at most all (from memory: EPA/625/1-89/023). A few strong
// plumes reach 0.6 to 0.8 of that (judgement). It is an extra, never the reason
// a pond passes: what feeds a pond is its surface, and mixing shares it out.
func StandardTransfer(air unit.StdCubicMetersPerSecond, submergence unit.Meters, b Bubbles) (unit.KilogramsPerSecond, error) {
	if err := unit.CheckRange("air (std m³/s)", float64(air), 0, 1, "ponds"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("submergence (m)", float64(submergence), 0, 100, "ponds and small lakes"); err != nil {
		return 0, err
	}
	perFoot := fineTransferPerFoot
	if b == CoarseBubbles {
		perFoot = coarseTransferPerFoot
	}
	share := math.Min(1, perFoot*submergence.Feet())
	return unit.KilogramsPerSecond(oxygenKgPerStdM3 * float64(air) * share), nil
}

// FieldTransfer reports what is left of a standard transfer in a pond that
// holds oxygen c at temperature t and pressure p,
//
//	αF 1.024^(t−20) (β C*t − C)/C*20
//
// with αF 0.9 and β 0.98, the usual form of field correction. It is negative
// above saturation: bubbles then strip oxygen.
func FieldTransfer(standard unit.KilogramsPerSecond, c unit.MilligramsPerLiter, t unit.Kelvin, p unit.Pascals) (unit.KilogramsPerSecond, error) {
	if err := unit.CheckRange("oxygen (mg/L)", float64(c), 0, 30, "twice saturation of cold water"); err != nil {
		return 0, err
	}
	ct, err := OxygenSaturation(t, p)
	if err != nil {
		return 0, err
	}
	c20, err := OxygenSaturation(unit.Celsius(20), unit.StandardPressure)
	if err != nil {
		return 0, err
	}
	share := fieldAlphaF * math.Pow(1.024, t.Celsius()-20) * (fieldBeta*float64(ct) - float64(c)) / float64(c20)
	return unit.KilogramsPerSecond(float64(standard) * share), nil
}
