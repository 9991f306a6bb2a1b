package air

import (
	"math"

	"pondwright/calc/unit"
)

// Fitting is a kind of fitting in a hose.
type Fitting uint8

// The fittings; Entrance is sharp-edged, BallValve has a full bore.
const (
	Elbow90 Fitting = iota
	TeeRun
	TeeBranch
	GateValve
	BallValve
	GlobeValve
	Entrance
	Exit
)

// Fittings reports the loss factor K, on the bore's velocity head, of a number
// of fittings on a hose: n fT with fT the friction of complete turbulence for
// the bore (valve-and-fitting handbook, from memory). An unknown kind is zero.
func Fittings(kind Fitting, count int, bore unit.Meters) float64 {
	var k float64
	switch kind {
	case Entrance:
		k = 0.5
	case Exit:
		k = 1
	default:
		k = kind.lengths() * turbulentFriction(bore)
	}
	return float64(max(count, 0)) * k
}

// lengths is the n of K = n fT.
func (f Fitting) lengths() float64 {
	switch f {
	case Elbow90:
		return 30
	case TeeRun:
		return 20
	case TeeBranch:
		return 60
	case GateValve:
		return 8
	case BallValve:
		return 3
	case GlobeValve:
		return 340
	case Entrance, Exit: // lose a share of the velocity head, whatever the friction
	}
	return 0
}

// turbulentFriction is fT by bore: 0.026 for 1/2 in, 0.024 for 3/4, 0.022 for 1.
func turbulentFriction(bore unit.Meters) float64 {
	switch in := bore.Inches(); {
	case in < 0.72:
		return 0.026
	case in < 0.94:
		return 0.024
	}
	return 0.022
}

// Barb reports the loss factor of one barbed insert coupling, on the hose's
// velocity head: a sudden contraction to the insert's bore and the expansion
// behind it, K = [0.5(1−β²) + (1−β²)²]/β⁴ with β the ratio of bores (from
// memory). insert must be above zero; one as wide as the hose costs nothing.
func Barb(insert, hose unit.Meters) (float64, error) {
	if err := unit.CheckRange("hose bore (m)", float64(hose), 0.002, 0.2, "hose of ponds"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("insert bore (m)", float64(insert), 0.2*float64(hose), float64(hose), "a coupling inside the hose"); err != nil {
		return 0, err
	}
	beta := float64(insert) / float64(hose)
	s := 1 - beta*beta
	return (0.5*s + s*s) / math.Pow(beta, 4), nil
}

// EquivalentLength reports the length of hose that loses what K does,
// K D/f. It is +Inf at f = 0, and zero at K = 0.
func EquivalentLength(k, friction float64, bore unit.Meters) unit.Meters {
	if k == 0 || bore == 0 {
		return 0
	}
	return unit.Meters(k * float64(bore) / friction)
}

// Bore is the inside diameter of a hose by the standard it is made to. Two
// half-inch hoses can differ by a third in bore and nearly four times in loss,
// so a nominal size alone is never enough.
type Bore struct {
	Standard string
	Nominal  string // in
	Inside   unit.Meters
	Mark     unit.Mark
	Source   string
}

// Bores lists the hose bores by standard.
func Bores() []Bore {
	const (
		id  = "ASTM D2239, inside-diameter controlled"
		cts = "copper-tube size, SDR 9"
		wpv = "weighted flexible PVC, sold by bore"
	)
	const mem = "ASTM D2239 table, equal to schedule 40 bores"
	const chart = "PEX SDR 9 chart; equal outside diameter and ratio in ASTM D2737"
	return []Bore{
		{id, "1/2", unit.Inches(0.622), unit.FromMemory, mem},
		{id, "3/4", unit.Inches(0.824), unit.FromMemory, mem},
		{id, "1", unit.Inches(1.049), unit.FromMemory, mem},
		{id, "1-1/4", unit.Inches(1.380), unit.FromMemory, mem},
		{id, "1-1/2", unit.Inches(1.610), unit.FromMemory, mem},
		{id, "2", unit.Inches(2.067), unit.FromMemory, mem},
		{cts, "3/8", unit.Inches(0.360), unit.Published, chart},
		{cts, "1/2", unit.Inches(0.475), unit.Judgement, "mean wall of one chart; another gives 0.485 in"},
		{cts, "3/4", unit.Inches(0.681), unit.Published, chart},
		{cts, "1", unit.Inches(0.875), unit.Published, chart},
		{wpv, "3/8", unit.Inches(0.375), unit.CommonPractice, ""},
		{wpv, "1/2", unit.Inches(0.500), unit.CommonPractice, ""},
		{wpv, "5/8", unit.Inches(0.625), unit.CommonPractice, ""},
	}
}
