package sun

import (
	"math"

	"github.com/golang/geo/s1"

	"pondwright/calc/unit"
)

// Sky is the light of an hour on level ground.
type Sky struct {
	Global  unit.WattsPerSquareMeter // all of it, on level ground
	Beam    unit.WattsPerSquareMeter // straight from the sun, square to it
	Diffuse unit.WattsPerSquareMeter // from the rest of the sky, on level ground
}

// Haurwitz reports the global irradiance on level ground under a clear sky after
// Haurwitz 1945, 1098 cos z · exp(−0.059/cos z) W/m²; nothing below the horizon.
func Haurwitz(elevation s1.Angle) unit.WattsPerSquareMeter {
	cosZ := math.Sin(elevation.Radians())
	if elevation <= 0 || elevation > math.Pi || cosZ <= 0 {
		return 0
	}
	return unit.WattsPerSquareMeter(1098 * cosZ * math.Exp(-0.059/cosZ))
}

// airMass0 to airMass2 are the constants of Kasten and Young 1989, from memory.
const airMass0, airMass1, airMass2 = 0.50572, 96.07995, -1.6364

// AirMass reports the relative length of the sun's way through the air at an
// apparent elevation after Kasten and Young 1989, at sea level; times pressure
// over one atmosphere elsewhere. Below the horizon it keeps the horizon's value,
// about 38.
func AirMass(elevation s1.Angle) float64 {
	zenithDeg := clamp(90-elevation.Degrees(), 0, 90)
	return 1 / (math.Cos(rad(zenithDeg)) + airMass0*math.Pow(airMass1-zenithDeg, airMass2))
}

// ClearAir is what a clear sky model needs beside the sun.
type ClearAir struct {
	Beyond   unit.WattsPerSquareMeter // outside the air, square to the sun; 0 is the solar constant
	Zenith   s1.Angle                 // of the sun, 0 to 180°; nothing arrives from 90° on
	AirMass  float64                  // absolute, 1 to 40; 0 follows the zenith at sea level
	Linke    float64                  // turbidity: 2 very clean winter air, 3 to 4 rural summer, 5 humid; 0 is 3
	Altitude unit.Meters              // −500 to 9000
}

const ineichenSource = "Ineichen and Perez, Solar Energy 73, 2002"

// IneichenPerez reports the light of a clear sky after Ineichen and Perez 2002,
// Solar Energy 73:151–157. It returns a *unit.RangeError for an input outside
// the limits that ClearAir names.
func IneichenPerez(c ClearAir) (Sky, error) {
	if c.Beyond == 0 {
		c.Beyond = solarConstantWM2
	}
	if c.AirMass == 0 {
		c.AirMass = AirMass(90*s1.Degree - c.Zenith)
	}
	if c.Linke == 0 {
		c.Linke = linkeTurbidity
	}
	for _, err := range []error{
		unit.CheckRange("extraterrestrial irradiance (W/m²)", float64(c.Beyond), 1200, 1500, ineichenSource),
		unit.CheckRange("zenith (degrees)", c.Zenith.Degrees(), 0, 180, "definition"),
		unit.CheckRange("air mass", c.AirMass, 0.3, 40, ineichenSource),
		unit.CheckRange("Linke turbidity", c.Linke, 1, 10, ineichenSource),
		unit.CheckRange("altitude (m)", float64(c.Altitude), -500, 9000, ineichenSource),
	} {
		if err != nil {
			return Sky{}, err
		}
	}
	cosZ := math.Cos(c.Zenith.Radians())
	if cosZ <= 0 {
		return Sky{}, nil
	}
	zM, i0, am, tl := float64(c.Altitude), float64(c.Beyond), c.AirMass, c.Linke
	fh1, fh2 := math.Exp(-zM/8000), math.Exp(-zM/1250)
	cg1, cg2 := 5.09e-5*zM+0.868, 3.92e-5*zM+0.0387
	ghi := cg1 * i0 * cosZ * math.Exp(-cg2*am*(fh1+fh2*(tl-1)))
	dni := (0.664 + 0.163/fh1) * math.Exp(-0.09*am*(tl-1)) * i0
	limit := ghi * (1 - (0.1-0.2*math.Exp(-tl))/(0.1+0.882/fh1)) / cosZ
	dni = math.Max(0, math.Min(dni, limit))
	return Sky{
		Global: unit.WattsPerSquareMeter(ghi), Beam: unit.WattsPerSquareMeter(dni),
		Diffuse: unit.WattsPerSquareMeter(math.Max(0, ghi-dni*cosZ)),
	}, nil
}

// lowSunDeg is the elevation below which a split of measured light would divide
// by next to nothing; all of it then counts as diffuse.
const lowSunDeg = 3

// minCosZenith keeps the clearness of a low sun finite.
const minCosZenith = 0.065

// SplitHour splits the measured global irradiance of an hour into beam and
// diffuse after Erbs, Klein and Duffie 1982 (Duffie and Beckman eq. 2.10.1).
// Beyond is the irradiance outside the air, square to the sun; no beam exceeds
// it, and what a low sun cannot explain counts as diffuse. It returns a
// *unit.RangeError for a global outside 0 to 2000 or a beyond outside 1200 to
// 1500 W/m².
func SplitHour(global, beyond unit.WattsPerSquareMeter, elevation s1.Angle) (Sky, error) {
	if err := checkGlobal(float64(global)); err != nil {
		return Sky{}, err
	}
	if err := unit.CheckRange("extraterrestrial irradiance (W/m²)", float64(beyond), 1200, 1500, "solar constant and the earth's orbit"); err != nil {
		return Sky{}, err
	}
	if err := unit.CheckRange("elevation (degrees)", elevation.Degrees(), -90, 90, "definition"); err != nil {
		return Sky{}, err
	}
	return splitHour(float64(global), float64(beyond), elevation.Radians()), nil
}

func checkGlobal(wM2 float64) error {
	return unit.CheckRange("global irradiance (W/m²)", wM2, 0, 2000, "brighter than any sky with broken cloud")
}

func splitHour(globalWM2, beyondWM2, elRad float64) Sky {
	cosZ := math.Sin(elRad)
	beam := 0.0
	if elRad >= rad(lowSunDeg) {
		kt := math.Min(1, globalWM2/(beyondWM2*math.Max(cosZ, minCosZenith)))
		beam = math.Min(beyondWM2, globalWM2*(1-hourlyDiffuse(kt))/cosZ)
	}
	return Sky{
		Global:  unit.WattsPerSquareMeter(globalWM2),
		Beam:    unit.WattsPerSquareMeter(beam),
		Diffuse: unit.WattsPerSquareMeter(globalWM2 - beam*cosZ),
	}
}

// hourlyDiffuse is the diffuse share of an hour of clearness kt, Erbs et al.
// 1982.
func hourlyDiffuse(kt float64) float64 {
	switch {
	case kt <= 0.22:
		return 1 - 0.09*kt
	case kt <= 0.8:
		return 0.9511 + kt*(-0.1604+kt*(4.388+kt*(-16.638+kt*12.336)))
	default:
		return 0.165
	}
}
