package main

import (
	"pondwright/calc/air"
	"pondwright/calc/plume"
	"pondwright/calc/unit"
	"pondwright/calc/water"
)

const (
	kobusSource    = "Kobus, Proc. 11th Coastal Engineering Conf., 1968, as used in Lorenzen & Fast, EPA-600/3-77-004, 1977; its three constants from memory, form and size checked on the digitized fluxes of Kobus 1968"
	integralSource = "Cederwall & Ditmars, Caltech KH-R-24, 1970; Wüest, Brooks & Imboden, Water Resour. Res. 28, 1992"
)

func liftCalculations() []calculation {
	return []calculation{
		{"lift", "Water lifted by the bubbles of one diffuser", "lift --air 1scfm --depth 14.1ft --temp 68F", liftOf},
		{"turnover", "How often diffusers turn a pond over", "turnover --volume 40acre-ft --diffusers 4 --air 1scfm --depth 14ft --hours 24h", turnoverOf},
		{"destratify", "Running time until the layers of a pond are gone", "destratify --profile profile.csv --curve curve.csv --diffusers 4 --air 1scfm --depth 14ft", destratifyOf},
	}
}

// plumeFlags are what every plume needs.
type plumeFlags struct {
	f       *form
	air     *quantity[unit.StdCubicMetersPerSecond]
	depth   *quantity[unit.Meters]
	temp    *quantity[unit.Kelvin]
	profile *string
	site    siteFlags
}

func needPlume(f *form, profileNeeded bool) plumeFlags {
	p := plumeFlags{
		f:     f,
		air:   need(f, "air", ofStdFlow, "air of one diffuser, as standard flow"),
		depth: need(f, "depth", ofLength, "water above the diffuser"),
	}
	if profileNeeded {
		p.profile = needText(f, "profile", profileHelp)
	} else {
		p.temp = ask(f, "temp", ofTemperature, "68F", "temperature of the water, where there is no profile")
		p.profile = askText(f, "profile", profileHelp+"; without it the water is of one temperature")
	}
	p.site = askSite(f)
	return p
}

// at gathers the site and says what the air becomes there.
func (p plumeFlags) at(w *worksheet) (plume.Site, error) {
	pressure, err := p.site.at(w)
	if err != nil {
		return plume.Site{}, err
	}
	s := plume.Site{Pressure: pressure}
	if p.temp != nil {
		s.Temperature = p.temp.v()
	}
	if *p.profile != "" {
		if s.Profile, err = readProfile(*p.profile, *p.f.units); err != nil {
			return plume.Site{}, err
		}
	}
	mass := p.air.v().Mass()
	w.step("airMass", "mass of the air", of(ofMassFlow, mass), "standard flow × 101,325 Pa/(R × 293.15 K)")
	if s.Profile.IsZero() {
		w.step("airAtSurface", "the air at the surface", of(ofActualFlow, mass.Actual(pressure, s.Temperature)), "V0 = mass flow × R T/p, at the pond's pressure and temperature")
	}
	return s, nil
}

func figureOf(settings []unit.Setting, name string) float64 {
	for _, s := range settings {
		if s.Name == name {
			return s.Value
		}
	}
	return 0 // a test holds every name used here
}

const (
	promisedFigure   = "promised share of the closed form"
	lowFigure        = "low end as share of the promised flow"
	efficiencyFigure = "mixing efficiency of the air's energy"
)

// times writes a setting as a factor of a formula.
func times(settings []unit.Setting, name string) string {
	return figures(figureOf(settings, name)) + " × "
}

func (w *worksheet) citePlume() {
	w.cite(unit.FromMemory, kobusSource)
	w.cite(unit.Published, integralSource)
	w.cite(unit.Judgement, "promised flow, chosen against the fluxes Kobus measured")
	w.hold("0.3 to 13 scfm and about 4.5 m of water as measured; answers from 0.1 to 30 m and up to 0.05 std m³/s, with a note outside the measured",
		"single diffusers further apart than twice the depth")
	w.figures = append(w.figures, "plume")
}

func liftOf(f *form) func(*worksheet) error {
	p := needPlume(f, false)
	height := ask(f, "height", ofLength, "", "height above the diffuser to count at, instead of the surface")
	return func(w *worksheet) error {
		site, err := p.at(w)
		if err != nil {
			return err
		}
		at := p.depth.v()
		if height.has() {
			at = height.v()
		}
		lift, err := plume.LiftTo(p.air.v(), p.depth.v(), at, site)
		if err != nil {
			return err
		}
		trace, err := plume.Rise(p.air.v(), p.depth.v(), site, plume.Model{})
		if err != nil {
			return err
		}
		power, err := plume.AirPower(p.air.v(), p.depth.v(), site)
		if err != nil {
			return err
		}
		w.result("promised", "promised, to design on", of(ofFlow, lift.Promised))
		w.result("upper", "upper estimate", of(ofFlow, lift.Upper))
		w.result("low", "low end, for turnover", of(ofFlow, lift.Low))
		w.result("airPower", "power given to the water", of(ofPower, power))
		if site.Profile.IsZero() {
			rho, err := water.Density(site.Temperature)
			if err != nil {
				return err
			}
			w.step("head", "air pressure as water", of(ofLength, unit.Meters(site.Pressure)/unit.Meters(air.Head(1, rho))), "Ha = p/(ρ g)")
		}
		w.step("closedForm", "closed form", of(ofFlow, lift.Upper), "2 √(π g Ha) C (x + 0.8) √(−V0 ln(1 − x/(h + Ha))/ub), C = 2 V0 + 0.05, ub = 25 V0 + 0.7")
		w.step("integral", "integral from a point", of(ofFlow, trace.FlowAt(at)), "dQ/dz = 2 α √(2π M), dM/dz = g Qg/(u/(1 + λ²) + us) + 2π b² g (ρa − ρp)/ρ0")
		w.step("share", "share of the closed form", of(ofShare, figureOf(plume.Defaults(), promisedFigure)), "over the measured fluxes the closed form reads 1.2 times too high")
		w.step("promised", "promised", of(ofFlow, lift.Promised), "the smaller of share × closed form and integral")
		w.step("low", "low end", of(ofFlow, lift.Low), times(plume.Defaults(), lowFigure)+"promised")
		w.step("airPower", "power given to the water", of(ofPower, power), "p V0 ln(1 + H/Ha)")
		for _, n := range lift.Notes {
			w.notef("%s.", n.Text())
		}
		w.citePlume()
		return nil
	}
}

func turnoverOf(f *form) func(*worksheet) error {
	p := needPlume(f, false)
	volume := ask(f, "volume", ofWater, "", "water to turn over, without what lies below the diffusers; the high end of a measured volume is the safe one").nonzero()
	curve := askText(f, "curve", curveHelp+"; with --profile it gives volume, bottom water and stability")
	diffusers := askCount(f, "diffusers", "how many such diffusers")
	hours := ask(f, "hours", ofTime, "24h", "actual running time a day")
	return func(w *worksheet) error {
		if volume.has() == (*curve != "") {
			return usagef("give the water to turn over as --volume, or as --curve")
		}
		site, err := p.at(w)
		if err != nil {
			return err
		}
		pond, base, err := pondOf(w, p, volume.v(), *curve, site)
		if err != nil {
			return err
		}
		lift, err := plume.LiftAt(p.air.v(), p.depth.v(), site)
		if err != nil {
			return err
		}
		power, err := plume.AirPower(p.air.v(), p.depth.v(), site)
		if err != nil {
			return err
		}
		bottom := plume.Lift{}
		if pond.Bottom > 0 {
			if bottom, err = plume.LiftTo(p.air.v(), p.depth.v(), p.depth.v()-base, site); err != nil {
				return err
			}
		}
		n := float64(*diffusers)
		if err := unit.CheckRange("diffusers", n, 0, 1000, "one pond"); err != nil {
			return err
		}
		at := func(surface, bottom unit.CubicMetersPerSecond) (plume.Turnover, error) {
			return plume.TurnoverOf(pond, plume.Station{
				Lift: unit.CubicMetersPerSecond(n) * surface, BottomLift: unit.CubicMetersPerSecond(n) * bottom,
				AirPower: unit.Watts(n) * power, RunPerDay: hours.v(),
			})
		}
		promised, err := at(lift.Promised, bottom.Promised)
		if err != nil {
			return err
		}
		low, err := at(lift.Low, bottom.Low)
		if err != nil {
			return err
		}
		w.result("perDay", "turnovers a day, nominal", of(ofNumber, promised.PerDay))
		w.result("perDayLow", "at the low lift", of(ofNumber, low.PerDay))
		w.result("nominal", "running time for one", of(ofTime, promised.Nominal))
		w.result("nominalLow", "at the low lift", of(ofTime, low.Nominal))
		w.result("waterLifted", "water lifted by all", of(ofFlow, unit.CubicMetersPerSecond(n)*lift.Promised))
		if pond.Bottom > 0 {
			w.result("bottomWater", "to lift the bottom water", of(ofTime, promised.BottomWater))
			w.result("destratify", "to mix the layers", of(ofTime, promised.Destratify))
		}
		w.step("volume", "water to turn over", of(ofWater, pond.Volume), "V, above the diffusers")
		w.step("liftEach", "lift of one diffuser", of(ofFlow, lift.Promised), "promised; see pondwright calc lift --explain")
		w.step("liftLow", "low lift of one", of(ofFlow, lift.Low), times(plume.Defaults(), lowFigure)+"promised")
		w.step("nominal", "nominal turnover", of(ofTime, promised.Nominal), "V/Σ lift")
		w.step("perDay", "a day", of(ofNumber, promised.PerDay), "Σ lift × running time/V")
		w.step("bottomWater", "bottom water", of(ofTime, promised.BottomWater), "bottom volume/Σ lift at the base of the thermocline; 0 when mixed")
		w.step("destratify", "layers", of(ofTime, promised.Destratify), "stability/("+times(plume.Defaults(), efficiencyFigure)+"the air's power), to remove four fifths; 0 when mixed")
		w.notef("Turnover is three different things: nominal, bottom water, and mixing of the layers. Nominal counts water that was drawn from the upper layer as well.")
		if *p.profile == "" {
			w.notef("Without --profile and --curve the water counts as mixed: in summer bottom water and layers take longer.")
		}
		for _, note := range lift.Notes {
			w.notef("%s.", note.Text())
		}
		w.caution("A first start in summer can kill fish: see pondwright calc overturn.")
		w.citePlume()
		return nil
	}
}

// pondOf gathers what turnover is counted against, and the depth of the base of
// the thermocline.
func pondOf(w *worksheet, p plumeFlags, volume unit.CubicMeters, curve string, site plume.Site) (plume.Pond, unit.Meters, error) {
	if curve == "" {
		return plume.Pond{Volume: volume}, 0, nil
	}
	if site.Profile.IsZero() {
		return plume.Pond{}, 0, usagef("--curve goes with --profile")
	}
	h, err := readCurve(curve, *p.f.units)
	if err != nil {
		return plume.Pond{}, 0, err
	}
	l := water.Split(site.Profile, h)
	pond := plume.Pond{Volume: h.Between(0, p.depth.v())}
	if !l.Mixed && l.Middle.Bottom < p.depth.v() {
		pond.Bottom, pond.Stability = h.Between(l.Middle.Bottom, p.depth.v()), water.MixingEnergy(site.Profile, h)
		w.step("stability", "work to mix once", of(ofWork, pond.Stability), "Schmidt stability × water surface")
		w.step("bottom", "bottom water", of(ofWater, pond.Bottom), "from the base of the thermocline to the diffusers")
	}
	w.step("areaRule", "air by the rule for lakes", of(ofStdFlow, plume.AreaRule(h.Area(0))), "9.2 m³/min for each km² of surface: to compare, not to design by")
	w.cite(unit.Published, "Lorenzen & Fast, EPA-600/3-77-004, 1977, by a second hand (air by lake area)")
	w.figures = append(w.figures, "water")
	return pond, l.Middle.Bottom, nil
}

func destratifyOf(f *form) func(*worksheet) error {
	p := needPlume(f, true)
	curve := needText(f, "curve", curveHelp)
	diffusers := askCount(f, "diffusers", "how many such diffusers")
	share := ask(f, "share", ofShare, "80%", "share of the stability to remove")
	limit := ask(f, "limit", ofTime, "30d", "running time at which to give up").nonzero()
	disc := ask(f, "disc", ofBore, "", "diameter of the diffuser; without it the plume starts from a point, which lifts less").nonzero()
	return func(w *worksheet) error {
		site, err := p.at(w)
		if err != nil {
			return err
		}
		h, err := readCurve(*curve, *f.units)
		if err != nil {
			return err
		}
		if err := unit.CheckRange("running time at which to give up (s)", float64(limit.v()), 1, 366*86400, "a year"); err != nil {
			return err
		}
		basin := plume.Basin{
			Curve: h, Site: site, Model: plume.Model{DiscRadius: disc.v() / 2},
			Diffusers: []plume.Diffusers{{Count: *diffusers, Air: p.air.v(), Submergence: p.depth.v()}},
		}
		m, err := basin.Destratify(share.v(), limit.v(), nil)
		if err != nil {
			return err
		}
		w.result("time", "running time", of(ofTime, m.Time))
		w.result("removed", "stability removed", of(ofShare, m.Removed))
		w.result("efficiency", "of the air's energy", of(ofShare, m.Efficiency))
		if !m.Reached {
			w.notef("Not reached within the time given.")
		}
		w.step("stability", "work to mix once", of(ofWork, water.MixingEnergy(site.Profile, h)), "Schmidt stability × water surface")
		w.step("time", "running time", of(ofTime, m.Time), "flat layers in time steps: each plume takes water in, leaves it where it is neutral, the rest sinks back")
		w.notef("Without wind and sun: a sunny week takes longer, a windy one less.")
		w.caution("A first start in summer can kill fish: see pondwright calc overturn.")
		w.citePlume()
		w.cite(unit.Published, idsoSource)
		return nil
	}
}
