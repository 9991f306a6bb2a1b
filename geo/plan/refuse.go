package plan

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"pondwright/calc/air"
	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// refuse adds a refusal.
func (p *Plan) refuse(code, field string, text unit.Text, remedy string) {
	p.Refusals = append(p.Refusals, Refusal{Code: code, Field: field, Text: text, Remedy: remedy})
}

// blockedShare is the share of the open horizon's running that a skyline may take
// before the mast stands in the wrong place: judgement, no source.
const blockedShare = 0.5

// iceC is the mean of a month below which ponds may carry ice: judgement, no
// source.
const iceC = 2.0

// refusals adds what must not be built or switched on as it stands.
func (s *search) refusals(p *Plan, best *fed) error {
	if err := s.relief(p); err != nil {
		return err
	}
	if u := p.Supply; u != nil && best != nil {
		if err := s.sunless(p, best); err != nil {
			return err
		}
		if u.Source == SunDirect && !s.in.Power.Lockout {
			p.refuse(CodeRestart, "lockout", "direct drive starts again by itself after dull days: summer running is unverified",
				"fit a lock-out or timer that a person must reset, and say so")
		}
		s.winter(p)
	}
	s.dam(p)
	s.notBuildNow(p)
	return nil
}

// relief sets the relief valve by the weakest part, at the highest level.
func (s *search) relief(p *Plan) error {
	if len(s.in.Ratings) == 0 || p.Manifold == 0 {
		return nil
	}
	set, err := air.ReliefSetting(p.Manifold, s.in.Ratings)
	if weak := new(air.WeakestPartError); errors.As(err, &weak) {
		p.refuse(CodeRelief, "ratings", weak.Text(), "a stronger part, or wider hose and fewer diffusers so that less pressure is needed")
		return nil
	}
	if err != nil {
		return fmt.Errorf("relief valve: %w", err)
	}
	p.Relief = set
	return nil
}

// sunless refuses a mast on which the sun does not drive the machines, and tells
// whether the skyline is to blame.
func (s *search) sunless(p *Plan, best *fed) error {
	d := s.feeder.drive
	if d.power.Source != SunDirect && d.power.Source != SunBattery {
		return nil
	}
	const trees = "move the mast, raise the panels, or clear what stands in the sun's way"
	if len(d.power.Horizon) > 0 {
		open := *d
		open.site.Horizon = sun.Horizon{}
		free, err := open.hours(best.load)
		if err != nil {
			return err
		}
		for m := time.January; m <= time.December; m++ {
			if d.power.Season.Has(m) && free[m-1].Hours() >= shortestRun && best.hours[m-1] < free[m-1]*(1-blockedShare) {
				p.refuse(CodeHorizon, "horizon", unit.Say("in %s the skyline leaves %.1f of %.1f hours a day", m, best.hours[m-1].Hours(), free[m-1].Hours()), trees)
				break
			}
		}
	}
	var dark []string
	for m := time.January; m <= time.December; m++ {
		if d.power.Season.Has(m) && best.hours[m-1].Hours() < shortestRun {
			dark = append(dark, m.String())
		}
	}
	if len(dark) > 0 {
		p.refuse(CodeNoSun, "panels", unit.Text("the sun does not drive the machines in "+strings.Join(dark, ", ")), "more panels, a battery, fewer machines, or a shorter season")
	}
	return nil
}

// icy lists the months of the season in which ponds may carry ice.
func (s *search) icy() []string {
	d := s.feeder.drive
	var out []string
	for m := time.January; m <= time.December; m++ {
		if d.power.Season.Has(m) && d.climate.Temperature[m-1] < unit.Celsius(iceC) {
			out = append(out, m.String())
		}
	}
	return out
}

// winter refuses running under ice that nobody asked for or settled.
func (s *search) winter(p *Plan) {
	ice := s.icy()
	if len(ice) == 0 || s.in.Answers.WinterRun && s.in.Answers.WinterPermit {
		return
	}
	text := "the season holds months of ice (" + strings.Join(ice, ", ") + "): by default the system is off and drained then"
	remedy := "leave these months out, or say that winter running is wanted and that permit, signs, inspection and foot traffic are settled"
	if s.in.Answers.WinterRun {
		text = "winter running (" + strings.Join(ice, ", ") + ") is wanted, but permit, signs, inspection and foot traffic on the ice are not settled"
		remedy = "settle them with the authority and the owner, and say so"
	}
	p.refuse(CodeWinter, "season", unit.Text(text), remedy)
}

// dam refuses to dig where nobody said whether there is a dam.
func (s *search) dam(p *Plan) {
	drawn := slices.ContainsFunc(s.in.Zones, func(z Zone) bool { return z.Kind == DamZone })
	if drawn || s.in.NoDam {
		return
	}
	p.refuse(CodeDam, "no_dam", "nobody said whether there is a dam: no footing, trench, sleeve or truck route may lie on one, its toe or its spillway",
		"draw the dam with its toe and spillway as a zone, or answer that there is none")
}

// notBuildNow stamps a plan that rests on defaults where a figure of the site
// belongs.
func (s *search) notBuildNow(p *Plan) {
	in := s.in
	var missing []string
	add := func(lacks bool, name string) {
		if lacks {
			missing = append(missing, name)
		}
	}
	onMast := p.Supply == nil || p.Supply.Area > 0
	add(onMast && in.Structure == nil, "mast")
	add(onMast && (in.Structure == nil || in.Structure.Ground.Soil == 0 && in.Structure.Ground.Bearing == 0), "soil")
	add(onMast && (in.Structure == nil || in.Structure.Wind.Speed == 0), "wind")
	add(!in.AltitudeKnown, "altitude")
	add(!in.Levels.known(), "water levels")
	add(!in.Answers.Profile, "temperature and oxygen profile (for start-up)")
	if len(missing) > 0 {
		p.refuse(CodeNotBuildNow, "inputs", unit.Text("Not for construction: defaults used for "+strings.Join(missing, ", ")), "measure them, or have them confirmed, and plan again")
	}
}
