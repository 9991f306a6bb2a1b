package main

import (
	"strings"

	"pondwright/calc/treat"
	"pondwright/calc/unit"
)

func careCalculations() []calculation {
	return []calculation{
		{"quantity", "Product for a level that the label gives", "quantity --volume 10acre-ft --volume-low 9.5acre-ft --level 0.05mg/L --basis active --strength 5% --density 1030kg/m3", quantityOf},
		{"stocking", "Fish to stock by a published table", "stocking --area 5acres --area-low 4.9acres --scheme \"Alabama, fertilized\"", stockingOf},
		{"calendar", "A pond's year of work", "calendar --water 40F,42F,50F,60F,70F,78F,83F,82F,75F,64F,52F,44F --weeds --restock", calendarOf},
	}
}

func quantityOf(f *form) func(*worksheet) error {
	volume := need(f, "volume", ofWater, "water to treat")
	low := ask(f, "volume-low", ofWater, "", "low end of its interval, which is used; without it the volume counts as exact").nonzero()
	high := ask(f, "volume-high", ofWater, "", "high end of its interval").nonzero()
	level := need(f, "level", ofLevel, "from the label, typed in by the licensed person")
	basis := askChoice(f, "basis", "", "what the level counts", option[treat.Basis]{"product", treat.ProductLevel}, option[treat.Basis]{"active", treat.ActiveLevel})
	most := ask(f, "label-max", ofLevel, "", "greatest level that the label allows, on the same basis").nonzero()
	strength := ask(f, "strength", ofShare, "", "active ingredient by mass").nonzero()
	perVolume := ask(f, "active", ofStrength, "", "active ingredient per volume of liquid, instead of --strength").nonzero()
	density := ask(f, "density", ofDensity, "", "of a liquid product").nonzero()
	agent := askChoice(f, "agent", "other", "with rules of its own", option[treat.Agent]{"other", treat.OtherAgent}, option[treat.Agent]{"copper", treat.Copper}, option[treat.Agent]{"rotenone", treat.Rotenone})
	alkalinity := ask(f, "alkalinity", ofLevel, "", "total, as CaCO₃, measured; for copper").nonzero()
	part := askChoice(f, "part", "whole", "which water", option[treat.Part]{"whole", treat.WholePond}, option[treat.Part]{"layer", treat.Layer}, option[treat.Part]{"zone", treat.Zone})
	pond := ask(f, "pond", ofWater, "", "volume of the whole pond, where a part is treated").nonzero()
	aerator := askChoice(f, "aerator", "", "during the treatment; off means that it stays off as long as the label says", option[treat.Aerator]{"runs", treat.AeratorRuns},
		option[treat.Aerator]{"off", treat.AeratorOff}, option[treat.Aerator]{"none", treat.NoAerator})
	thermal := askYes(f, "thermocline", "a profile of the last days shows a strong one, for a layer")
	weedy := askYes(f, "weedy", "plants or algae fill much of the pond and will die")
	return func(w *worksheet) error {
		v := treat.Volume{Low: low.v(), Best: volume.v(), High: high.v()}
		if !low.has() {
			v.Low = v.Best
			w.notef("No low end of the volume was given: the volume counts as exact.")
		}
		if !high.has() {
			v.High = v.Best
		}
		a, err := treat.Quantity(treat.Dose{
			Level: level.v(), Basis: basis.v(), LabelMax: most.v(), Part: part.v(), Volume: v,
			Product: treat.Product{Agent: agent.v(), Strength: strength.v(), Density: density.v(), ActivePerVolume: perVolume.v()},
			Pond:    treat.Volume{Low: pond.v(), Best: pond.v(), High: pond.v()},
			Aerator: aerator.v(), Thermal: *thermal, Weedy: *weedy, Alkalinity: alkalinity.v(),
		})
		if err != nil {
			return err
		}
		if a.Product > 0 {
			w.result("product", "product", of(ofMass, a.Product))
		}
		if a.Liquid > 0 {
			w.result("liquid", "product, by volume", of(ofLiquid, a.Liquid))
		}
		w.result("active", "active ingredient in it", of(ofMass, a.Active))
		w.result("level", "level of active ingredient", of(ofLevel, a.Level))
		w.result("leastLevel", "if the volume is the high end", of(ofLevel, a.LeastLevel))
		if part.v() != treat.WholePond {
			w.result("mixed", "once mixed into the pond", of(ofLevel, a.Mixed))
		}
		w.step("volumeUsed", "volume used", of(ofWater, a.VolumeUsed), a.VolumeNamed)
		w.step("active", "active ingredient", of(ofMass, a.Active), "volume × level of active ingredient")
		if a.Product > 0 {
			w.step("product", "product", of(ofMass, a.Product), "active ingredient/strength")
		}
		if a.Liquid > 0 {
			w.step("liquid", "by volume", of(ofLiquid, a.Liquid), "product/density, or active ingredient/active ingredient per volume")
		}
		w.cite(unit.Published, "arithmetic of the label")
		w.cite(unit.Published, "copper: Watson & Yanong, University of Florida IFAS FA008; rotenone: Finlayson, American Fisheries Society meeting, 2011")
		w.hold("levels and products as the label gives them; never proposes a product or a rate")
		w.figures = append(w.figures, "treat")
		w.caution(a.Cautions...)
		return nil
	}
}

func stockingOf(f *form) func(*worksheet) error {
	var names []string
	for _, s := range treat.Schemes() {
		names = append(names, s.Name)
	}
	scheme := needText(f, "scheme", "published table to follow: "+strings.Join(names, "; "))
	area := need(f, "area", ofArea, "water surface at the usual level")
	low := ask(f, "area-low", ofArea, "", "low end of its interval, which is used; without it the area counts as exact").nonzero()
	return func(w *worksheet) error {
		known := false
		for _, n := range names {
			known = known || n == *scheme
		}
		if !known {
			return usagef("--scheme: %q is none of: %s", *scheme, strings.Join(names, "; "))
		}
		a := treat.Area{Low: low.v(), Best: area.v()}
		if !low.has() {
			a.Low = a.Best
			w.notef("No low end of the area was given: the area counts as exact.")
		}
		s, err := treat.Stock(*scheme, a)
		if err != nil {
			return err
		}
		w.result("when", "meant for", say(s.Scheme.When))
		w.result("areaUsed", "area used", of(ofArea, s.AreaUsed))
		t := w.table("fish", "Fish to stock", column{"fish", "fish", nil}, column{"low", "from", ofNumber.dimension}, column{"high", "to", ofNumber.dimension}, column{"size", "size", nil})
		for i, c := range s.Fish {
			t.add(say(string(c.Fish)), count(c.Low), count(c.High), say(c.Size))
			per := s.Scheme.Fish[i]
			rate := figures(per.Low)
			if per.High != per.Low {
				rate += " to " + figures(per.High)
			}
			w.step(camel(strings.ReplaceAll(string(c.Fish), " ", "-")), string(c.Fish), say(rate+" an acre"), "an acre × acres, rounded down")
		}
		if s.Scheme.Note != "" {
			w.notef("%s.", s.Scheme.Note)
		}
		w.step("areaUsed", "area used", of(ofArea, s.AreaUsed), s.AreaNamed)
		w.cite(s.Scheme.Mark, s.Scheme.Source)
		w.hold(s.Scheme.When)
		w.caution(s.Cautions...)
		return nil
	}
}

func calendarOf(f *form) func(*worksheet) error {
	surface := askMonths(f, "water", ofTemperature, "needed: mean temperature of the surface water")
	f.require("water")
	weeds := askYes(f, "weeds", "treatment of weeds or algae is planned")
	removal := askYes(f, "removal", "removal of unwanted fish is planned")
	restock := askYes(f, "restock", "stocking is planned")
	south := askYes(f, "south", "the pond lies south of the equator")
	return func(w *worksheet) error {
		steps, err := treat.Calendar(treat.Year{SurfaceWater: *surface.v(), Weeds: *weeds, Removal: *removal, Restock: *restock, Southern: *south})
		if err != nil {
			return err
		}
		t := w.table("steps", "The year", column{"work", "work", nil}, column{"months", "months", nil}, column{"how", "how", nil})
		for _, s := range steps {
			var months []string
			for _, m := range s.Months {
				months = append(months, m.String()[:3])
			}
			t.add(say(string(s.Work)), say(strings.Join(months, " ")), say(s.Do))
			w.step(camel(strings.ReplaceAll(string(s.Work), " ", "-")), string(s.Work), say(strings.Join(months, " ")), s.Do)
			w.cite(s.Mark, s.Source)
			w.caution(s.Cautions...)
		}
		w.hold("monthly means of surface water, −2 to 45 °C; a thermometer in the pond comes before any table")
		w.figures = append(w.figures, "treat")
		return nil
	}
}
