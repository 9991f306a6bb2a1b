package mast

import (
	"errors"

	"pondwright/calc/unit"
)

// Soil is a class of IBC table 1806.2. The zero value means not given.
type Soil int

// Soil classes, strongest first after the unknown.
const (
	SoilUnknown Soil = iota
	Bedrock          // crystalline
	SedimentaryRock
	Gravel  // and sandy gravel
	Sand    // also silty and clayey sand and gravel
	Clay    // also sandy clay, silt and clayey silt
	Organic // mud, organic silt and clay, peat, unprepared fill: no value without a test
)

// ErrNoBearing means that the code gives no bearing value for the soil: it has
// to be tested, and the tested value given.
var ErrNoBearing = errors.New("mast: no bearing value for mud, organic soil, peat or unprepared fill without a test")

// table1806 holds lateral bearing in psf per foot of depth and vertical bearing
// in psf (IBC 2012 table 1806.2, as reprinted in an earthquake-engineering text).
var table1806 = [...]struct {
	name                    string
	lateralPSFFt, verticalP float64
}{
	Bedrock:         {"crystalline bedrock", 1200, 12000},
	SedimentaryRock: {"sedimentary rock", 400, 4000},
	Gravel:          {"gravel and sandy gravel", 200, 3000},
	Sand:            {"sand, silty and clayey sand", 150, 2000},
	Clay:            {"clay and silt", 100, 1500},
}

// String names the soil class.
func (s Soil) String() string {
	switch {
	case s >= Bedrock && s <= Clay:
		return table1806[s].name
	case s == Organic:
		return "mud, organic soil, peat or unprepared fill"
	}
	return "unknown soil"
}

// Lateral reports the presumptive lateral bearing of IBC table 1806.2. It
// returns ErrNoBearing for organic soil and a *unit.RangeError for an unknown
// class.
func (s Soil) Lateral() (unit.PascalsPerMeter, error) {
	if err := s.check(); err != nil {
		return 0, err
	}
	return unit.PSFPerFoot(table1806[s].lateralPSFFt), nil
}

// Vertical reports the presumptive vertical bearing of IBC table 1806.2, with
// the errors of Lateral.
func (s Soil) Vertical() (unit.PascalsGauge, error) {
	if err := s.check(); err != nil {
		return 0, err
	}
	return unit.PSF(table1806[s].verticalP), nil
}

func (s Soil) check() error {
	if s == Organic {
		return ErrNoBearing
	}
	return unit.CheckRange("soil class", float64(s), float64(Bedrock), float64(Clay), "IBC table 1806.2")
}

// Ground is what the footing stands in. The zero value is unknown, wet,
// untested shore soil.
type Ground struct {
	Soil     Soil
	Bearing  unit.PascalsPerMeter // lateral bearing from a soils report; 0 takes the table
	Vertical unit.PascalsGauge    // vertical bearing from a soils report; 0 takes the table
	Tested   bool                 // the class comes from test pits; a soils report's values count as tested
	Dry      bool                 // never soaked by the pond or by groundwater
	Isolated bool                 // ½ in of movement at grade does no harm: bearing counts twice (IBC 1806.3.4)
	Slab     bool                 // a rigid concrete slab at grade holds the pole (IBC 1807.3.2.2)
	Uncount  unit.Meters          // soft or frost-loosened soil at the top that is not counted, 0 to 3 m
	Frost    *unit.Meters         // local frost depth; nil means not given
}

// lateral reports the lateral bearing that counts, per meter of depth.
func (g Ground) lateral(r Rules) (unit.PascalsPerMeter, error) {
	s := g.Bearing
	if s == 0 {
		table, err := g.Soil.Lateral()
		if err != nil {
			return 0, err
		}
		s = table * unit.PascalsPerMeter(g.tableShare(r))
	}
	if err := unit.CheckRange("lateral bearing of the soil (Pa/m)", float64(s), 1e3, 1e6, bearingSource); err != nil {
		return 0, err
	}
	if g.Isolated {
		s *= 2
	}
	return s, nil
}

// vertical reports the vertical bearing that counts.
func (g Ground) vertical(r Rules) (unit.PascalsGauge, error) {
	v := g.Vertical
	if v == 0 {
		table, err := g.Soil.Vertical()
		if err != nil {
			return 0, err
		}
		v = table * unit.PascalsGauge(g.tableShare(r))
	}
	return v, unit.CheckRange("vertical bearing of the soil (Pa)", float64(v), 1e3, 1e7, bearingSource)
}

const bearingSource = "IBC table 1806.2 and room for tests"

// tableShare reports what water leaves of the table's values.
func (g Ground) tableShare(r Rules) float64 {
	if g.Dry || g.Tested {
		return 1
	}
	return r.WetShare
}

// measured reports whether a soils report speaks for both bearings.
func (g Ground) measured() bool { return g.Bearing != 0 && g.Vertical != 0 }
