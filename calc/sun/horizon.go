package sun

import (
	"math"
	"slices"
	"sort"
	"time"

	"github.com/golang/geo/s1"

	"pondwright/calc/unit"
)

// HorizonPoint is one sight along the skyline: how high trees and banks stand at
// a true bearing, seen from the panel.
type HorizonPoint struct {
	Azimuth   s1.Angle // 0 to 360°
	Elevation s1.Angle // 0 to 90°
}

// Horizon is the skyline around a panel, straight between its points. The zero
// Horizon is open all round. Copies share their points, which do not change.
type Horizon struct {
	azRad, elRad []float64 // sorted by bearing
	hidden       float64   // share of an even sky's light on level ground that is behind it
}

// NewHorizon makes a skyline of points in any order. Two points on one bearing
// make a step, turning clockwise from the one given first. It returns a *unit.RangeError for a bearing or an elevation
// outside the limits of HorizonPoint; no points make the open horizon.
func NewHorizon(points []HorizonPoint) (Horizon, error) {
	sorted := slices.Clone(points)
	for i, p := range sorted {
		if err := unit.CheckRange("horizon bearing (degrees)", p.Azimuth.Degrees(), 0, 360, "definition"); err != nil {
			return Horizon{}, err
		}
		if err := unit.CheckRange("horizon elevation (degrees)", p.Elevation.Degrees(), 0, 90, "definition"); err != nil {
			return Horizon{}, err
		}
		if p.Azimuth.Radians() >= 2*math.Pi {
			sorted[i].Azimuth = 0
		}
	}
	sort.SliceStable(sorted, func(i, j int) bool { return sorted[i].Azimuth < sorted[j].Azimuth })
	var h Horizon
	for _, p := range sorted {
		h.azRad = append(h.azRad, p.Azimuth.Radians())
		h.elRad = append(h.elRad, p.Elevation.Radians())
	}
	h.hidden = h.hiddenShare()
	return h, nil
}

// At reports how high the skyline stands at a true bearing.
func (h Horizon) At(azimuth s1.Angle) s1.Angle {
	turned := math.Mod(azimuth.Radians(), 2*math.Pi)
	if turned < 0 {
		turned += 2 * math.Pi
	}
	return s1.Angle(h.at(turned))
}

// at takes a bearing in [0, 2π].
func (h Horizon) at(azRad float64) float64 {
	n := len(h.azRad)
	if n == 0 {
		return 0
	}
	i := sort.Search(n, func(i int) bool { return h.azRad[i] > azRad })
	before, after := (i+n-1)%n, i%n
	width := h.width(before)
	if width <= 0 {
		return h.elRad[after]
	}
	past := azRad - h.azRad[before]
	if past < 0 {
		past += 2 * math.Pi
	}
	return h.elRad[before] + (h.elRad[after]-h.elRad[before])*math.Min(1, past/width)
}

// width is the angle from point i to the next one round the circle; the whole
// circle where there is only one point.
func (h Horizon) width(i int) float64 {
	if i+1 < len(h.azRad) {
		return h.azRad[i+1] - h.azRad[i]
	}
	return h.azRad[0] - h.azRad[i] + 2*math.Pi
}

// SkyView reports the share of an even sky's light that still reaches level
// ground: the mean of cos² of the skyline's elevation, exact for straight pieces.
func (h Horizon) SkyView() float64 { return 1 - h.hidden }

// hiddenShare integrates sin² along each piece.
func (h Horizon) hiddenShare() float64 {
	sum := 0.0
	for i := range h.azRad {
		a, b := h.elRad[i], h.elRad[(i+1)%len(h.elRad)]
		mean := math.Sin((a+b)/2) * math.Sin((a+b)/2)
		if math.Abs(b-a) > 1e-4 {
			mean = 0.5 - (math.Sin(2*b)-math.Sin(2*a))/(4*(b-a))
		}
		sum += h.width(i) * mean
	}
	return clamp(sum/(2*math.Pi), 0, 1)
}

// open tells whether nothing stands above the level horizon.
func (h Horizon) open() bool { return h.hidden == 0 }

// ObstacleElevation reports how high an obstacle stands in the sky of a panel,
// from its height above the panel and its distance. It returns a
// *unit.RangeError for a height outside 0 to 9000 m or a distance outside 0.1 m
// to 100 km.
func ObstacleElevation(aboveThePanel, distance unit.Meters) (s1.Angle, error) {
	if err := unit.CheckRange("height above the panel (m)", float64(aboveThePanel), 0, 9000, "heights on earth"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("distance of the obstacle (m)", float64(distance), 0.1, 1e5, "sight"); err != nil {
		return 0, err
	}
	return s1.Angle(math.Atan2(float64(aboveThePanel), float64(distance))), nil
}

// WinterArc is the part of the sky to keep clear: the sun's course from nine to
// three by the sundial on the shortest day.
type WinterArc struct {
	NoonElevation s1.Angle
	NineElevation s1.Angle // at nine and at three
	From, To      s1.Angle // true bearings at nine and at three
}

// KeepClear reports the winter arc of a latitude. It returns a *unit.RangeError
// beyond 52°, where the sun stands too low at nine to ask for a clear view.
func KeepClear(lat s1.Angle) (WinterArc, error) {
	const beyond = "the sun of the shortest day is less than about 5° high at nine"
	if err := unit.CheckRange("latitude (degrees)", lat.Degrees(), -52, 52, beyond); err != nil {
		return WinterArc{}, err
	}
	decl := Declination(355)
	if lat < 0 {
		decl = -decl
	}
	day := courseOf(lat.Radians(), decl.Radians())
	noon, _ := horizontal(day.sinLat, day.cosLat, day.sinDecl, day.cosDecl, 0)
	nineEl, nineAz := horizontal(day.sinLat, day.cosLat, day.sinDecl, day.cosDecl, -math.Pi/4)
	_, threeAz := horizontal(day.sinLat, day.cosLat, day.sinDecl, day.cosDecl, math.Pi/4)
	return WinterArc{s1.Angle(noon), s1.Angle(nineEl), s1.Angle(nineAz), s1.Angle(threeAz)}, nil
}

// Spacing reports how far an obstacle must stand from the panel to leave the
// winter arc clear. It returns a *unit.RangeError for a height outside 0 to
// 9000 m.
func (w WinterArc) Spacing(aboveThePanel unit.Meters) (unit.Meters, error) {
	if err := unit.CheckRange("height above the panel (m)", float64(aboveThePanel), 0, 9000, "heights on earth"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("elevation at nine (degrees)", w.NineElevation.Degrees(), 1, 90, "made by KeepClear"); err != nil {
		return 0, err
	}
	return unit.Meters(float64(aboveThePanel) / math.Tan(w.NineElevation.Radians())), nil
}

// Season picks months of the year. The zero Season is the whole year.
type Season [12]bool

// Between makes a season of the months from first to last, both included, over
// the turn of the year where last comes first.
func Between(first, last time.Month) Season {
	var s Season
	at := min(max(int(first), 1), 12) - 1
	end := min(max(int(last), 1), 12) - 1
	for {
		s[at] = true
		if at == end {
			return s
		}
		at = (at + 1) % 12
	}
}

// Has tells whether a month belongs to the season.
func (s Season) Has(m time.Month) bool {
	return s == Season{} || (m >= time.January && m <= time.December && s[m-1])
}
