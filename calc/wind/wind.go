// Package wind answers how long a day the wind drives an air pump at a place, and
// sets the sources of air beside one another: sun straight, sun through a
// battery, wind, and the mains by cable.
//
// It knows the mean wind of each month and spreads it by the Rayleigh
// distribution, the usual assumption where no record of the wind is at hand
// (a Weibull distribution of shape 2; IEC 61400-1 uses it for its standard wind). It says how long a mill
// turns, not how much air it gives: that is its maker's curve. The usual
// sequence:
//
//	site := wind.Site{Wind: climate.Wind}
//	hours, err := site.RunHours(wind.Mill{CutIn: 3, Hub: 6})
//	sources, err := wind.Compare(wind.Case{...})
package wind

import (
	"math"

	"pondwright/calc/unit"
)

// Site is a place's wind.
type Site struct {
	Wind       [12]unit.MetersPerSecond // monthly means at the anemometer, 0 to 40
	Anemometer unit.Meters              // its height, 1 to 200 m; 0 is 10 m
	Shear      float64                  // exponent of the rise with height, 0.05 to 0.6; 0 is 1/7, open country
	Shelter    float64                  // share of the open wind that reaches the mill, 0.05 to 1; 0 is 1, nothing in the way
}

// Mill is a pump that the wind drives.
type Mill struct {
	CutIn  unit.MetersPerSecond // wind at which it gives air against the diffuser's depth, 0.1 to 25; 0 is 3
	CutOut unit.MetersPerSecond // wind at which it turns out of the wind, above CutIn to 60; 0 is never
	Hub    unit.Meters          // height of its wheel, 1 to 200 m; 0 is 6 m
}

const (
	windSource   = "monthly means on earth"
	heightSource = "power law of the wind's rise with height, lowest 200 m"
)

func (s Site) withDefaults() (Site, error) {
	if s.Anemometer == 0 {
		s.Anemometer = anemometerM
	}
	if s.Shear == 0 {
		s.Shear = openShear
	}
	if s.Shelter == 0 {
		s.Shelter = openShelter
	}
	for _, v := range s.Wind {
		if err := unit.CheckRange("mean wind (m/s)", float64(v), 0, 40, windSource); err != nil {
			return s, err
		}
	}
	if err := unit.CheckRange("anemometer height (m)", float64(s.Anemometer), 1, 200, heightSource); err != nil {
		return s, err
	}
	if err := unit.CheckRange("shear exponent", s.Shear, 0.05, 0.6, heightSource); err != nil {
		return s, err
	}
	return s, unit.CheckRange("shelter", s.Shelter, 0.05, 1, "definition")
}

func (m Mill) withDefaults() (Mill, error) {
	if m.CutIn == 0 {
		m.CutIn = cutInMPS
	}
	if m.Hub == 0 {
		m.Hub = hubM
	}
	if err := unit.CheckRange("cut-in wind (m/s)", float64(m.CutIn), 0.1, 25, "mills"); err != nil {
		return m, err
	}
	if m.CutOut != 0 {
		if err := unit.CheckRange("cut-out wind (m/s)", float64(m.CutOut), float64(m.CutIn), 60, "from cut-in to the strongest mills"); err != nil {
			return m, err
		}
	}
	return m, unit.CheckRange("hub height (m)", float64(m.Hub), 1, 200, heightSource)
}

// Exceeds reports the share of time in which the wind is above a speed where its
// mean is given, exp(−π/4 · (v/v̄)²), the Rayleigh distribution. A mean of 0 never
// exceeds a speed above 0. It returns a *unit.RangeError for a mean outside 0 to
// 40 or a speed outside 0 to 100 m/s.
func Exceeds(mean, speed unit.MetersPerSecond) (float64, error) {
	if err := unit.CheckRange("mean wind (m/s)", float64(mean), 0, 40, windSource); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("wind (m/s)", float64(speed), 0, 100, "records on earth"); err != nil {
		return 0, err
	}
	return exceeds(float64(mean), float64(speed)), nil
}

func exceeds(meanMPS, speedMPS float64) float64 {
	if speedMPS == 0 {
		return 1
	}
	if meanMPS == 0 {
		return 0
	}
	ratio := speedMPS / meanMPS
	return math.Exp(-math.Pi / 4 * ratio * ratio)
}

// AtHub reports the monthly mean wind at a height, v·(h/h₀)^α times the shelter.
// It returns a *unit.RangeError for a site outside its limits or a height outside
// 1 to 200 m.
func (s Site) AtHub(hub unit.Meters) ([12]unit.MetersPerSecond, error) {
	var out [12]unit.MetersPerSecond
	s, err := s.withDefaults()
	if err != nil {
		return out, err
	}
	if err := unit.CheckRange("hub height (m)", float64(hub), 1, 200, heightSource); err != nil {
		return out, err
	}
	factor := s.Shelter * math.Pow(float64(hub/s.Anemometer), s.Shear)
	for m, v := range s.Wind {
		out[m] = v * unit.MetersPerSecond(factor)
	}
	return out, nil
}

// RunHours reports for each month how long a day, on average, the wind at the hub
// lies between a mill's cut-in and cut-out. Calm spells last for days in summer,
// when a pond needs air most; the mean hides them. It returns a *unit.RangeError
// for a site or a mill outside its limits.
func (s Site) RunHours(m Mill) ([12]unit.Seconds, error) {
	var out [12]unit.Seconds
	m, err := m.withDefaults()
	if err != nil {
		return out, err
	}
	winds, err := s.AtHub(m.Hub)
	if err != nil {
		return out, err
	}
	for i, v := range winds {
		share := exceeds(float64(v), float64(m.CutIn))
		if m.CutOut != 0 {
			share -= exceeds(float64(v), float64(m.CutOut))
		}
		out[i] = unit.Hours(24 * math.Max(0, share))
	}
	return out, nil
}
