package main

import (
	"fmt"

	"pondwright/calc/plume"
	"pondwright/calc/unit"
)

func plumeCalculations() []calculation {
	return []calculation{
		{"plume", "A plume integrated from the bottom up, with its peels", "plume --air 2scfm --depth 14ft --profile profile.csv --disc 9in", plumeOf},
		{"leastair", "Least air whose plume comes up without peeling", "leastair --profile profile.csv --depth 14ft", leastAirOf},
	}
}

// modelFlags are the coefficients of the integral.
type modelFlags struct {
	disc                                 *quantity[unit.Meters]
	entrainment, core, froude, amplified *quantity[float64]
	slip                                 *quantity[unit.MetersPerSecond]
	bubble                               *quantity[unit.Meters]
}

func askModel(f *form) modelFlags {
	return modelFlags{
		disc:        ask(f, "disc", ofBore, "", "diameter of the diffuser; without it the plume starts from a point, as promised lift does").nonzero(),
		entrainment: ask(f, "entrainment", ofNumber, "", "entrainment coefficient of the Gaussian plume; 0.055 if not given").nonzero(),
		core:        ask(f, "core", ofNumber, "", "width of the bubbles' core over that of the plume; 0.8 if not given").nonzero(),
		slip:        ask(f, "slip", ofSpeed, "", "rise of bubbles through the water; 0.25 m/s if not given").nonzero(),
		bubble:      ask(f, "bubble", ofBore, "", "diameter of the bubbles, instead of --slip").nonzero(),
		froude:      ask(f, "froude", ofNumber, "", "Froude number at the disc; 1.6 if not given").nonzero(),
		amplified:   ask(f, "amplification", ofNumber, "", "momentum amplification by turbulence; 1 if not given").nonzero(),
	}
}

// model gathers the coefficients.
func (in modelFlags) model(w *worksheet) (plume.Model, error) {
	m := plume.Model{DiscRadius: in.disc.v() / 2, Coefficients: plume.Coefficients{
		Entrainment: in.entrainment.v(), CoreRatio: in.core.v(), Slip: in.slip.v(), Froude: in.froude.v(), Amplification: in.amplified.v(),
	}}
	if in.bubble.has() {
		if in.slip.has() {
			return m, usagef("--slip and --bubble say the same: give one of them")
		}
		slip, err := plume.SlipVelocity(in.bubble.v())
		if err != nil {
			return m, err
		}
		m.Coefficients.Slip = slip
		w.step("slip", "rise of the bubbles", of(ofSpeed, slip), "1189 r^1.1945 up to r = 0.75 mm, 0.22 m/s up to 4.8 mm, 2.995 r^0.489 above")
	}
	return m, nil
}

func plumeOf(f *form) func(*worksheet) error {
	p := needPlume(f, false)
	in := askModel(f)
	return func(w *worksheet) error {
		site, err := p.at(w)
		if err != nil {
			return err
		}
		m, err := in.model(w)
		if err != nil {
			return err
		}
		trace, err := plume.Rise(p.air.v(), p.depth.v(), site, m)
		if err != nil {
			return err
		}
		closed, err := plume.ClosedForm(p.air.v(), p.depth.v(), p.depth.v(), site)
		if err != nil {
			return err
		}
		w.citePlume()
		if len(trace.Plumes) == 0 {
			w.result("flow", "water at its top", of(ofFlow, 0))
			w.step("flow", "water at its top", of(ofFlow, 0), "no air, no plume")
			return nil
		}
		first := trace.Plumes[0]
		w.result("flow", "water at its top", of(ofFlow, first.Flow))
		w.result("top", "top, above the diffuser", of(ofLength, first.Top))
		w.result("peels", "lets go below the surface", say(map[bool]string{true: "yes", false: "no"}[first.Peels]))
		w.result("closedForm", "closed form, to compare", of(ofFlow, closed))
		t := w.table("plumes", "From the diffuser up; the first alone moves bottom water", column{"bottom", "from", ofLength.dimension}, column{"top", "to", ofLength.dimension},
			column{"flow", "water", ofFlow.dimension}, column{"velocity", "on the axis", ofSpeed.dimension}, column{"width", "width", ofLength.dimension},
			column{"neutral", "comes to rest at", ofLength.dimension}, column{"state", "", nil})
		for _, pl := range trace.Plumes {
			state := "surface"
			if pl.Peels {
				state = "peels"
			}
			t.add(of(ofLength, pl.Bottom), of(ofLength, pl.Top), of(ofFlow, pl.Flow), of(ofSpeed, pl.Velocity), of(ofLength, pl.Width), of(ofLength, pl.Neutral), say(state))
		}
		w.step("flow", "water at its top", of(ofFlow, first.Flow), "dQ/dz = 2 α √(2π M), dM/dz = γ {g Qg/(u/(1 + λ²) + us) + 2π b² g (ρa − ρp)/ρ0}, Runge-Kutta")
		w.step("gas", "gas on its way", say("expands"), "Qg = V0 Ha/(Ha + H − z), isothermal")
		w.step("closedForm", "closed form", of(ofFlow, closed), "see pondwright calc lift")
		w.step("potential", "raises the layers' energy by", of(ofPower, trace.Potential), "g {∫ z Q (dρ/dz) dz − Qp ∫ z (dρ/dz) dz}, the first up to the peel, the second from the neutral level")
		return w.numbers(p, site, m)
	}
}

// numbers adds what describes a plume in layers without dimensions.
func (w *worksheet) numbers(p plumeFlags, site plume.Site, m plume.Model) error {
	if site.Profile.IsZero() || p.air.v() == 0 {
		return nil
	}
	n := site.Profile.BuoyancyFrequency(0, p.depth.v())
	slip := m.Coefficients.Slip
	if slip == 0 {
		slip = unit.MetersPerSecond(figureOf(plume.Defaults(), slipFigure))
	}
	k, err := plume.NumbersOf(p.air.v(), p.depth.v(), site, n, slip)
	if err != nil {
		return err
	}
	w.step("buoyancyFrequency", "buoyancy frequency", of(ofRate, n), "N = √((g/ρ) Δρ/Δz), surface to diffuser, as if density fell evenly")
	w.step("stratification", "stratification number", of(ofNumber, k.Stratification), "C_N = N³ H⁴/(g Q); below some 500 one intrusion at the surface, from memory of Asaeda & Imberger 1993")
	w.step("sourceNumber", "source number", of(ofNumber, k.Source), "M_N = g Q/(4π α² us³ H), α = 0.083, H the water above the diffuser")
	w.step("sourceTotalHead", "source number by total head", of(ofNumber, k.SourceTotalHead), "the same over H + Ha and with us (1 + λ²), λ = 0.3")
	w.step("slipNumber", "slip number", of(ofNumber, k.Slip), "U_N = us/(B N)^¼")
	w.step("peelHeight", "peels at, by correlation", of(ofLength, k.PeelHeight), "5.2 exp[−(U_N − 1.8)²/10.24] (B/N³)^¼")
	w.step("trapHeight", "lowest intrusion, by correlation", of(ofLength, k.TrapHeight), "2.9 exp[−(U_N − 1)²/28.09] (B/N³)^¼")
	w.cite(unit.Published, "Socolofsky & Adams, J. Hydraul. Eng. 131, 2005 (correlations)")
	w.cite(unit.FromMemory, "Asaeda & Imberger, J. Fluid Mech. 249, 1993 (kinds of plume)")
	w.notef("A single core peels low against the correlation: read a peel as a warning.")
	return nil
}

const slipFigure = "slip of fine bubbles"

func leastAirOf(f *form) func(*worksheet) error {
	profile := needText(f, "profile", profileHelp)
	depth := need(f, "depth", ofLength, "water above the diffuser")
	most := ask(f, "most", ofStdFlow, "10scfm", "air beyond which not to seek").nonzero()
	disc := ask(f, "disc", ofBore, "9in", "diameter of the diffuser; a plume from a disc peels lower, which is the safe end").nonzero()
	site := askSite(f)
	return func(w *worksheet) error {
		pressure, err := site.at(w)
		if err != nil {
			return err
		}
		at := plume.Site{Pressure: pressure}
		if at.Profile, err = readProfile(*profile, *f.units); err != nil {
			return err
		}
		air, ok, err := plume.MinimumAir(depth.v(), at, plume.Model{DiscRadius: disc.v() / 2}, most.v())
		if err != nil {
			return err
		}
		w.citePlume()
		w.hold(fmt.Sprintf("up to the air given with --most, %s here", ofStdFlow.both(float64(most.v()), usUnits)))
		w.step("air", "least air", of(ofStdFlow, air), "halving between none and the most sought, to a thousandth; each try integrates the plume")
		if !ok {
			w.result("reached", "found", say("no"))
			w.notef("Even %s peels: start in spring, before the pond layers.", ofStdFlow.both(float64(most.v()), usUnits))
			return nil
		}
		w.result("reached", "found", say("yes"))
		w.result("air", "least air of one diffuser", of(ofStdFlow, air))
		w.notef("With less, water is let go below the surface and the upper water gets nothing. A single core peels low: read it as a warning.")
		return nil
	}
}
