package wind

import (
	"errors"
	"fmt"
	"math"
	"time"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// Kind is a source of air.
type Kind int

// The sources that Compare sets beside one another, in its order.
const (
	SunDirect  Kind = iota // panel wired straight to the pump
	SunBattery             // panel, battery, pump
	WindMill               // mill
	Mains                  // cable
)

// String names the source for a sheet.
func (k Kind) String() string {
	switch k {
	case SunDirect:
		return "sun, direct"
	case SunBattery:
		return "sun, battery"
	case WindMill:
		return "wind"
	case Mains:
		return "mains"
	default:
		return "unknown source"
	}
}

// Case is a pump that wants air at a place.
type Case struct {
	Load    unit.Watts   // electrical, running, 1 W to 100 kW; the mill does not need it
	Hours   unit.Seconds // a day, in every month of the season; 0 is round the clock
	Season  sun.Season
	Sun     sun.Site
	Panel   sun.Panel
	Storage sun.StorageNeed // battery and its days; load, hours and season are taken from the case
	Wind    Site
	Mill    Mill
	Grid    Grid
}

// Source is what one source of air does and needs.
type Source struct {
	Kind    Kind
	Hours   [12]unit.Seconds // a day, by month
	Worst   time.Month       // of the season
	Meets   bool             // the wanted hours in every month of the season
	Reason  string           // why not, where it does not
	Array   unit.Watts       // of panel
	Battery unit.WattHours
	Cable   Cable // for Mains
	Notes   []string
}

// Compare sets the four sources of air beside one another for a case: how long
// each runs a day in each month, and what it takes. It weighs no prices. A source
// that cannot serve is listed with its reason. It returns a *unit.RangeError for
// a case outside the limits of its parts.
func Compare(c Case) ([]Source, error) {
	if c.Hours == 0 {
		c.Hours = unit.Hours(24)
	}
	if err := unit.CheckRange("run hours a day (h)", c.Hours.Hours(), 1e-3, 24, "definition"); err != nil {
		return nil, err
	}
	var out []Source
	for _, look := range []func(Case) (Source, error){direct, stored, driven, wired} {
		s, err := look(c)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// judged fills in worst month and verdict.
func (s Source) judged(c Case) Source {
	for m := time.January; m <= time.December; m++ {
		if c.Season.Has(m) && (s.Worst == 0 || s.Hours[m-1] < s.Hours[s.Worst-1]) {
			s.Worst = m
		}
	}
	worst := s.Hours[s.Worst-1].Hours()
	s.Meets = s.Reason == "" && worst >= c.Hours.Hours()*(1-1e-9)
	if !s.Meets && s.Reason == "" {
		s.Reason = fmt.Sprintf("runs %.1f h a day in %s, %.1f h are wanted", worst, s.Worst, c.Hours.Hours())
	}
	return s
}

// leastRunH is a run too short to size an array for.
const leastRunH = 0.1

// direct sizes an array for the wanted hours or, where no array gives them, for
// a fair light.
func direct(c Case) (Source, error) {
	fair, err := c.Sun.RunHours(c.Panel, fallbackLight)
	if err != nil {
		return Source{}, err
	}
	s := Source{Kind: SunDirect, Notes: []string{
		"A passing cloud stops the pump: count these hours as the most it can run.",
		"The night, when oxygen sags, is not covered.",
		"It starts again by itself after dull days: fit a lock-out or timer that a person must reset.",
	}}
	need := sun.DirectNeed{Load: c.Load, Hours: c.Hours, Season: c.Season}
	size, err := c.Sun.SizeDirect(c.Panel, need)
	if errors.Is(err, sun.ErrTooDark) {
		least := Source{Hours: fair}.judged(c)
		need.Hours = fair[least.Worst-1]
		if need.Hours < unit.Hours(leastRunH) {
			s.Reason = fmt.Sprintf("the light of %s does not reach %d W/m²", least.Worst, fallbackLight)
			return s.judged(c), nil
		}
		size, err = c.Sun.SizeDirect(c.Panel, need)
	}
	if err != nil {
		return Source{}, err
	}
	s.Array, s.Hours = size.Array, size.Hours
	return s.judged(c), nil
}

// stored runs the wanted hours in the months that its worst month sizes, and what
// the light gives in others.
func stored(c Case) (Source, error) {
	need := c.Storage
	need.Load, need.Hours, need.Season = c.Load, c.Hours, c.Season
	size, err := c.Sun.SizeStorage(c.Panel, need)
	if err != nil {
		return Source{}, err
	}
	months, err := c.Sun.Months(c.Panel)
	if err != nil {
		return Source{}, err
	}
	s := Source{Kind: SunBattery, Array: size.Array, Battery: size.Battery, Notes: size.Notes}
	for i, m := range months {
		share := float64(m.Tilted) / 1000 / size.SunHours
		s.Hours[i] = unit.Seconds(math.Min(1, share)) * c.Hours
	}
	return s.judged(c), nil
}

// driven is the mill.
func driven(c Case) (Source, error) {
	hours, err := c.Wind.RunHours(c.Mill)
	if err != nil {
		return Source{}, err
	}
	s := Source{Kind: WindMill, Hours: hours, Notes: []string{
		"Calm spells last for days in summer, when a pond needs air most; the mean hides them.",
		"Trees and banks near the pond take wind that a station in the open sees.",
		"A mill is a tall structure: footing, lightning and climbing are for people who do such work.",
	}}
	return s.judged(c), nil
}

// wired is the cable.
func wired(c Case) (Source, error) {
	cable, err := c.Grid.Size(c.Load)
	if errors.Is(err, sun.ErrNoGauge) {
		return Source{Kind: Mains, Reason: err.Error()}.judged(c), nil
	}
	if err != nil {
		return Source{}, err
	}
	s := Source{Kind: Mains, Cable: cable, Notes: cable.Notes}
	for i := range s.Hours {
		s.Hours[i] = unit.Hours(24)
	}
	return s.judged(c), nil
}
