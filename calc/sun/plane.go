package sun

import (
	"math"
	"time"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"

	"pondwright/calc/unit"
)

// Panel is how a flat panel stands. The zero Panel lies level.
type Panel struct {
	Tilt    s1.Angle // from level, 0 to 90°
	Azimuth s1.Angle // true bearing that its face looks to, −360° to 360°
}

func (p Panel) check() error {
	if err := unit.CheckRange("tilt (degrees)", p.Tilt.Degrees(), 0, 90, "a panel does not face the ground"); err != nil {
		return err
	}
	return unit.CheckRange("panel bearing (degrees)", p.Azimuth.Degrees(), -360, 360, "definition")
}

// Incidence reports the angle between a panel's face and the sun. It returns a
// *unit.RangeError for a panel outside the limits of Panel.
func (p Panel) Incidence(sun Position) (s1.Angle, error) {
	if err := p.check(); err != nil {
		return 0, err
	}
	return s1.Angle(math.Acos(p.facing().cosIncidence(sun.Elevation.Radians(), sun.Azimuth.Radians()))), nil
}

// facing holds the sines and cosines of a panel for inner loops.
type facing struct{ sinTilt, cosTilt, azRad float64 }

func (p Panel) facing() facing {
	sin, cos := math.Sincos(p.Tilt.Radians())
	return facing{sin, cos, p.Azimuth.Radians()}
}

func (f facing) cosIncidence(elRad, azRad float64) float64 {
	sinEl, cosEl := math.Sincos(elRad)
	return clamp(sinEl*f.cosTilt+cosEl*f.sinTilt*math.Cos(azRad-f.azRad), -1, 1)
}

// SkyModel says how the light of the sky, beside the sun itself, is spread.
type SkyModel int

// The sky models, best first; the zero value is Perez.
const (
	Perez     SkyModel = iota // Perez et al., Solar Energy 44, 1990: brighter round the sun and at the horizon
	HayDavies                 // Hay and Davies 1980: brighter round the sun
	Isotropic                 // Liu and Jordan 1963: even, the lowest of the three on a panel facing the sun
)

// Scene is a panel in its surroundings.
type Scene struct {
	Panel   Panel
	Horizon Horizon
	Albedo  float64 // share of light that the ground throws back, 0 to 1; 0 is the default 0.2
	Model   SkyModel
}

func (s Scene) check() (albedo float64, err error) {
	if err := s.Panel.check(); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("sky model", float64(s.Model), float64(Perez), float64(Isotropic), "definition"); err != nil {
		return 0, err
	}
	return albedoOf(s.Albedo)
}

func albedoOf(albedo float64) (float64, error) {
	if albedo == 0 {
		return groundAlbedo, nil
	}
	return albedo, unit.CheckRange("albedo", albedo, 0, 1, "definition")
}

// Light is what reaches a panel, by where it comes from.
type Light struct{ Beam, Sky, Ground unit.WattsPerSquareMeter }

// Total reports all the light on the panel.
func (l Light) Total() unit.WattsPerSquareMeter { return l.Beam + l.Sky + l.Ground }

// Light reports what reaches the panel from a sky. Beyond is the irradiance
// outside the air, square to the sun; airMass is relative, 0 follows the sun's
// elevation. A sun behind the horizon sends no beam and no glow around it, and
// the rest of the sky is reduced by the horizon's sky view on level ground. It
// returns a *unit.RangeError for a scene or a sky outside their limits.
func (s Scene) Light(sun Position, sky Sky, beyond unit.WattsPerSquareMeter, airMass float64) (Light, error) {
	albedo, err := s.check()
	if err != nil {
		return Light{}, err
	}
	if err := checkGlobal(float64(sky.Global)); err != nil {
		return Light{}, err
	}
	if err := unit.CheckRange("beam irradiance (W/m²)", float64(sky.Beam), 0, 2000, "more than arrives outside the air"); err != nil {
		return Light{}, err
	}
	if err := unit.CheckRange("diffuse irradiance (W/m²)", float64(sky.Diffuse), 0, 2000, "brighter than any sky"); err != nil {
		return Light{}, err
	}
	if err := unit.CheckRange("extraterrestrial irradiance (W/m²)", float64(beyond), 1200, 1500, "solar constant and the earth's orbit"); err != nil {
		return Light{}, err
	}
	if airMass == 0 {
		airMass = AirMass(sun.Elevation)
	}
	if err := unit.CheckRange("air mass", airMass, 0.3, 40, "Kasten and Young 1989"); err != nil {
		return Light{}, err
	}
	return s.light(s.Panel.facing(), albedo, sun.Elevation.Radians(), sun.Azimuth.Radians(), sky, float64(beyond), airMass), nil
}

func (s Scene) light(f facing, albedo, elRad, azRad float64, sky Sky, beyondWM2, airMass float64) Light {
	cosTheta := math.Max(0, f.cosIncidence(elRad, azRad))
	if elRad <= 0 || (!s.Horizon.open() && elRad < s.Horizon.at(bearing(azRad))) {
		cosTheta = 0
	}
	diffuse := 0.0
	if sky.Diffuse > 0 {
		diffuse = s.Model.diffuse(f, cosTheta, elRad, float64(sky.Diffuse), float64(sky.Beam), beyondWM2, airMass)
	}
	return Light{
		Beam:   sky.Beam * unit.WattsPerSquareMeter(cosTheta),
		Sky:    unit.WattsPerSquareMeter(diffuse * s.Horizon.SkyView()),
		Ground: sky.Global * unit.WattsPerSquareMeter(albedo*(1-f.cosTilt)/2),
	}
}

// bearing brings an angle to [0, 2π).
func bearing(azRad float64) float64 {
	if azRad >= 0 && azRad < 2*math.Pi {
		return azRad
	}
	turned := math.Mod(azRad, 2*math.Pi)
	if turned < 0 {
		turned += 2 * math.Pi
	}
	return turned
}

// diffuse is the sky's light on the panel, W/m²; cosTheta is 0 where the sun is
// hidden or behind the panel.
func (m SkyModel) diffuse(f facing, cosTheta, elRad, dhi, dni, beyondWM2, airMass float64) float64 {
	even := (1 + f.cosTilt) / 2
	sinEl := math.Sin(elRad)
	switch m {
	case HayDavies:
		share := math.Min(1, dni/beyondWM2)
		return dhi * (share*cosTheta/math.Max(sinEl, sinOneDegree) + (1-share)*even)
	case Perez:
		f1, f2 := perezBrightness(dhi, dni, beyondWM2, airMass, math.Pi/2-elRad)
		ratio := cosTheta / math.Max(sinEl, cos85)
		return math.Max(0, dhi*((1-f1)*even+f1*ratio+f2*f.sinTilt))
	default:
		return dhi * even
	}
}

const (
	sinOneDegree = 0.01745240643728351
	cos85        = 0.08715574274765817
)

// perezEdges and perezRows are the bins of sky clearness and the coefficients
// f11 f12 f13 f21 f22 f23 of Perez, Ineichen, Seals, Michalsky and Stewart,
// Solar Energy 44:271–289, 1990, table 6, all sites.
var (
	perezEdges = [7]float64{1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2}
	perezRows  = [8][6]float64{
		{-0.008, 0.588, -0.062, -0.060, 0.072, -0.022},
		{0.130, 0.683, -0.151, -0.019, 0.066, -0.029},
		{0.330, 0.487, -0.221, 0.055, -0.064, -0.026},
		{0.568, 0.187, -0.295, 0.109, -0.152, -0.014},
		{0.873, -0.392, -0.362, 0.226, -0.462, 0.001},
		{1.132, -1.237, -0.412, 0.288, -0.823, 0.056},
		{1.060, -1.600, -0.359, 0.264, -1.127, 0.131},
		{0.678, -0.327, -0.250, 0.156, -1.377, 0.251},
	}
)

// perezBrightness is the pair of brightness coefficients round the sun and at
// the horizon; dhi must be above zero.
func perezBrightness(dhi, dni, beyondWM2, airMass, zenithRad float64) (f1, f2 float64) {
	z3 := 1.041 * zenithRad * zenithRad * zenithRad
	clearness := ((dhi+dni)/dhi + z3) / (1 + z3)
	bin := 0
	for bin < len(perezEdges) && clearness >= perezEdges[bin] {
		bin++
	}
	r := &perezRows[bin]
	delta := dhi * airMass / beyondWM2
	f1 = math.Max(0, r[0]+r[1]*delta+r[2]*zenithRad)
	return f1, r[3] + r[4]*delta + r[5]*zenithRad
}

// Hours reports the mean light on the panel for a run of hours. Each value of
// global is the mean irradiance on level ground of the hour that starts i hours
// after from; the sun is taken at the middle of the hour. It returns a
// *unit.RangeError for a value of global outside 0 to 2000 W/m², a year outside
// 1900 to 2100, or an unfit place or scene.
func (s Scene) Hours(at s2.LatLng, from time.Time, global []unit.WattsPerSquareMeter) ([]unit.WattsPerSquareMeter, error) {
	albedo, err := s.check()
	if err != nil {
		return nil, err
	}
	if err := checkSpan(at, from, len(global)); err != nil {
		return nil, err
	}
	f := s.Panel.facing()
	latRad, lonRad := at.Lat.Radians(), at.Lng.Radians()
	out := make([]unit.WattsPerSquareMeter, len(global))
	middle := from.Add(30 * time.Minute)
	for i, g := range global {
		if err := checkGlobal(float64(g)); err != nil {
			return nil, err
		}
		if g == 0 {
			continue
		}
		p := apparent(middle.Add(time.Duration(i)*time.Hour), latRad, lonRad)
		sky := splitHour(float64(g), float64(p.Beyond()), p.Elevation.Radians())
		out[i] = s.light(f, albedo, p.Elevation.Radians(), p.Azimuth.Radians(), sky, float64(p.Beyond()), AirMass(p.Elevation)).Total()
	}
	return out, nil
}

// ClearHours reports the mean irradiance on level ground for n hours of clear
// sky after Haurwitz, the sun at the middle of each hour. It returns a
// *unit.RangeError as Hours does.
func ClearHours(at s2.LatLng, from time.Time, n int) ([]unit.WattsPerSquareMeter, error) {
	if err := checkSpan(at, from, n); err != nil {
		return nil, err
	}
	latRad, lonRad := at.Lat.Radians(), at.Lng.Radians()
	out := make([]unit.WattsPerSquareMeter, n)
	middle := from.Add(30 * time.Minute)
	for i := range out {
		p := apparent(middle.Add(time.Duration(i)*time.Hour), latRad, lonRad)
		out[i] = Haurwitz(p.Elevation)
	}
	return out, nil
}

// checkSpan checks a run of n hours at a place.
func checkSpan(at s2.LatLng, from time.Time, n int) error {
	if err := checkPlace(at); err != nil {
		return err
	}
	if err := checkYear(from); err != nil {
		return err
	}
	if err := unit.CheckRange("number of hours", float64(n), 0, 2e6, meeusSource); err != nil {
		return err
	}
	return checkYear(from.Add(time.Duration(n) * time.Hour))
}

// apparent is the sun through standard air.
func apparent(t time.Time, latRad, lonRad float64) Position {
	p := eclipticSun(t).over(latRad, lonRad)
	p.Elevation += s1.Angle(refraction(p.Elevation.Degrees(), float64(unit.StandardPressure), standardAirK)) * s1.Degree
	return p
}
