package main

import (
	"pondwright/calc/treat"
	"pondwright/calc/unit"
)

func treatCalculations() []calculation {
	return []calculation{
		{"copper", "Most copper that a water's alkalinity bears", "copper --alkalinity 80mg/L --volume 7.7acre-ft", copperOf},
		{"lime", "Whether a pond's alkalinity asks for lime", "lime --alkalinity 12mg/L --fish", limeOf},
		{"wait", "How long a treatment takes to fade", "wait --from 0.2mg/L --to 0.002mg/L", waitOf},
	}
}

func copperOf(f *form) func(*worksheet) error {
	alkalinity := need(f, "alkalinity", ofLevel, "total, as CaCO₃, measured")
	volume := ask(f, "volume", ofWater, "", "water treated; the low end of its interval is the safe one").nonzero()
	return func(w *worksheet) error {
		most, err := treat.CopperCeiling(alkalinity.v())
		if err != nil {
			return err
		}
		asCopper := most * copperShare
		w.result("sulfate", "copper sulfate pentahydrate, at most", of(ofLevel, most))
		w.result("copper", "as copper", of(ofLevel, asCopper))
		w.step("sulfate", "copper sulfate, at most", of(ofLevel, most), "alkalinity/100, at most 2.5 mg/L; none below 50 mg/L as CaCO₃")
		w.step("copper", "as copper", of(ofLevel, asCopper), "63.546/249.685 of it")
		w.notef("A ceiling, not a rate: the label and the licensed person give the rate.")
		w.cite(unit.Published, "Watson & Yanong, University of Florida IFAS FA008")
		w.hold("alkalinity of 50 to 2,000 mg/L as CaCO₃")
		w.figures = append(w.figures, "treat")
		w.caution(treat.Cautions(treat.Copper)...)
		if !volume.has() {
			return nil
		}
		if err := unit.CheckRange("water treated (m³)", float64(volume.v()), 1, 1e9, "ponds and small lakes"); err != nil {
			return err
		}
		mass := unit.Kilograms(float64(volume.v()) * float64(most) / 1000)
		w.result("mass", "copper sulfate in all, at most", of(ofMass, mass))
		w.step("mass", "in all", of(ofMass, mass), "volume × level")
		return nil
	}
}

// copperShare is the copper in copper sulfate pentahydrate, by atomic masses.
const copperShare = 63.546 / 249.685

func limeOf(f *form) func(*worksheet) error {
	alkalinity := need(f, "alkalinity", ofLevel, "total, as CaCO₃, measured")
	kind := askChoice(f, "kind", "agricultural", "ground limestone, or caustic lime", option[treat.Lime]{"agricultural", treat.AgriculturalLime},
		option[treat.Lime]{"caustic", treat.HydratedOrQuickLime})
	fish := askYes(f, "fish", "there are fish in the pond")
	return func(w *worksheet) error {
		l, err := treat.LimingNote(alkalinity.v(), kind.v(), *fish)
		if err != nil {
			return err
		}
		needed := map[bool]string{true: "yes", false: "no"}[l.Needed]
		w.result("needed", "lime is called for", say(needed))
		w.step("needed", "lime is called for", say(needed), "alkalinity below 20 mg/L as CaCO₃; how much, a soil test tells")
		for _, n := range l.Notes {
			w.notef("%s", n)
		}
		w.cite(unit.Published, "University of Florida IFAS FA028; Wurts & Masser, SRAC 4100, 2013; Alabama Cooperative Extension; Texas A&M AgriLife (caustic lime)")
		w.hold("alkalinity up to 2,000 mg/L as CaCO₃")
		w.figures = append(w.figures, "treat")
		w.caution(l.Cautions...)
		return nil
	}
}

func waitOf(f *form) func(*worksheet) error {
	from := need(f, "from", ofLevel, "level of active ingredient at the start")
	to := need(f, "to", ofLevel, "level to come down to")
	shortest := ask(f, "shortest", ofSpan, "", "shortest half-life of the ingredient in such water; without both the half-lives measured for rotenone are used").nonzero()
	longest := ask(f, "longest", ofSpan, "", "its longest half-life").nonzero()
	return func(w *worksheet) error {
		if shortest.has() != longest.has() {
			return usagef("--shortest and --longest go together")
		}
		least, most := shortest.v(), longest.v()
		var wait treat.Wait
		var err error
		if shortest.has() {
			wait, err = treat.Decay(from.v(), to.v(), least, most)
			w.cite(unit.CommonPractice, "half-lives as given")
		} else {
			wait, err = treat.RotenoneWait(from.v(), to.v())
			least, most = w.halfLives()
		}
		if err != nil {
			return err
		}
		w.result("shortest", "wait, at least", of(ofSpan, wait.Shortest))
		w.result("longest", "at most", of(ofSpan, wait.Longest))
		w.result("halvings", "half-lives in it", of(ofNumber, wait.Halvings))
		w.step("halvings", "half-lives", of(ofNumber, wait.Halvings), "log₂(from/to)")
		w.step("shortest", "shortest wait", of(ofSpan, wait.Shortest), "half-lives × "+ofSpan.print(float64(least), usUnits))
		w.step("longest", "longest wait", of(ofSpan, wait.Longest), "half-lives × "+ofSpan.print(float64(most), usUnits))
		w.hold("fading at one rate; half-lives follow more than temperature, so no formula is fitted")
		w.figures = append(w.figures, "treat")
		w.caution(wait.Cautions...)
		return nil
	}
}

// halfLives lists what was measured for rotenone and reports the ends.
func (w *worksheet) halfLives() (least, most unit.Seconds) {
	t := w.table("halfLives", "Half-lives of rotenone measured in ponds", column{"pond", "pond", nil}, column{"temperature", "water", ofTemperature.dimension}, column{"time", "half-life", ofSpan.dimension})
	least = unit.Never()
	for _, h := range treat.HalfLives() {
		t.add(say(h.Pond), of(ofTemperature, h.Temperature), of(ofSpan, h.Time))
		least, most = min(least, h.Time), max(most, h.Time)
	}
	w.cite(unit.Published, "North American Journal of Fisheries Management 11(2), 226, 1991 (half-lives of rotenone)")
	return least, most
}
