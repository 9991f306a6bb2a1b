package mast

import (
	"math"

	"pondwright/calc/unit"
)

const (
	steelKgM3      = 7850
	steelModulusPa = 2.0e11 // 29,000 ksi
	// designWall is the share of the nominal wall that AISC 360 counts for pipe,
	// from memory.
	designWall = 0.93
	// safety is the divisor of bending strength in allowable-stress design.
	safety = 1.67
	// compactShare bounds D/t by E/Fy for a section that bends without buckling.
	compactShare = 0.07
	pipeSource   = "AISC 360, compact round section, from memory"
)

// Pipe is a round steel section by its nominal outside diameter and wall. The
// zero value is not usable.
type Pipe struct {
	Name    string // nominal size
	Outside unit.Meters
	Wall    unit.Meters
}

// Schedule40 lists schedule 40 steel pipe by nominal size, 2 to 10 in, smallest
// first (dimensions of ASME B36.10M, from memory).
func Schedule40() []Pipe {
	in := func(name string, od, wall float64) Pipe {
		return Pipe{name, unit.Inches(od), unit.Inches(wall)}
	}
	return []Pipe{
		in("2 in schedule 40", 2.375, 0.154),
		in("2½ in schedule 40", 2.875, 0.203),
		in("3 in schedule 40", 3.5, 0.216),
		in("3½ in schedule 40", 4.0, 0.226),
		in("4 in schedule 40", 4.5, 0.237),
		in("5 in schedule 40", 5.563, 0.258),
		in("6 in schedule 40", 6.625, 0.280),
		in("8 in schedule 40", 8.625, 0.322),
		in("10 in schedule 40", 10.75, 0.365),
	}
}

// bores reports outside and inside diameter in meters.
func (p Pipe) bores() (outM, inM float64) {
	return float64(p.Outside), float64(p.Outside - 2*p.Wall)
}

// AreaM2 reports the section's area in m².
func (p Pipe) AreaM2() float64 {
	o, i := p.bores()
	return math.Pi / 4 * (o*o - i*i)
}

// InertiaM4 reports the second moment of area in m⁴.
func (p Pipe) InertiaM4() float64 {
	o, i := p.bores()
	return math.Pi / 64 * (math.Pow(o, 4) - math.Pow(i, 4))
}

// ElasticM3 reports the elastic section modulus in m³.
func (p Pipe) ElasticM3() float64 { return 2 * p.InertiaM4() / float64(p.Outside) }

// PlasticM3 reports the plastic section modulus in m³.
func (p Pipe) PlasticM3() float64 {
	o, i := p.bores()
	return (o*o*o - i*i*i) / 6
}

// MassPerMeter reports the mass of one meter of pipe in kg.
func (p Pipe) MassPerMeter() float64 { return p.AreaM2() * steelKgM3 }

// design reports the pipe with the wall that strength counts on.
func (p Pipe) design() Pipe { return Pipe{p.Name, p.Outside, p.Wall * designWall} }

// Allowable reports the bending moment that the pipe may carry: yield × plastic
// modulus of the design wall (0.93 of the nominal) over 1.67 (AISC 360 chapter
// F8, from memory). yield is the steel's yield stress. It returns a
// *unit.RangeError for a pipe outside 20 mm to 1 m, a yield outside 150 to 700
// MPa, or a wall so thin that the section is not compact, D/t > 0.07 E/Fy.
func (p Pipe) Allowable(yield unit.PascalsGauge) (unit.NewtonMeters, error) {
	if err := p.check(yield); err != nil {
		return 0, err
	}
	return unit.NewtonMeters(float64(yield) * p.design().PlasticM3() / safety), nil
}

func (p Pipe) check(yield unit.PascalsGauge) error {
	if err := unit.CheckRange("outside diameter of the pole (m)", float64(p.Outside), 0.02, 1, pipeSource); err != nil {
		return err
	}
	if err := unit.CheckRange("yield stress of the pole (Pa)", float64(yield), 150e6, 700e6, pipeSource); err != nil {
		return err
	}
	d := p.design()
	thinnest := float64(d.Outside) / (compactShare * steelModulusPa / float64(yield)) / designWall
	return unit.CheckRange("wall of the pole (m)", float64(p.Wall), thinnest, float64(p.Outside)/2, pipeSource)
}

// frequency reports the lowest natural frequency of a cantilever of pipe with a
// mass at its top: the Dunkerley sum of the massless pole under the mass, 3EI/L³,
// and the bare pole, 12.36 EI/(mL⁴), which never reads high.
func (p Pipe) frequency(lengthM, topKg float64) unit.Hertz {
	ei := steelModulusPa * p.InertiaM4()
	kg := topKg + 3/12.362*p.MassPerMeter()*lengthM
	return unit.Hertz(math.Sqrt(3*ei/(kg*lengthM*lengthM*lengthM)) / (2 * math.Pi))
}
