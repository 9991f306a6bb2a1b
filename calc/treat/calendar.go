package treat

import (
	"time"

	"pondwright/calc/unit"
)

// Work is a kind of work in a pond's year.
type Work string

// The kinds of work, in the order of a calendar.
const (
	TreatWeeds Work = "treat weeds or algae"
	TreatFish  Work = "remove unwanted fish"
	WaitWork   Work = "wait"
	StockWork  Work = "stock"
	StartUp    Work = "start the aerator"
	NoStartUp  Work = "no new start of the aerator"
	Winter     Work = "winter"
)

// Step is one line of a calendar.
type Step struct {
	Work     Work
	Months   []time.Month // in order of the year; empty for a span that follows another step
	Do       string
	Mark     unit.Mark
	Source   string
	Cautions []string
}

// Year is what a calendar goes by.
type Year struct {
	SurfaceWater [12]unit.Kelvin // mean of each month, January first, −2 to 45 °C
	Weeds        bool            // treatment of weeds or algae is planned
	Removal      bool            // removal of unwanted fish is planned
	Restock      bool            // stocking is planned
	Southern     bool            // south of the equator
}

// Temperatures that divide the year, °C.
const (
	coldTreatC  = 10 // 50 °F
	warmTreatC  = 24 // 75 °F
	iceC        = 4
	mixedFromC  = 4
	mixedToC    = 15
	hottestC    = 28
	hotSlackC   = 1e-9
	minSurfaceC = -2
	maxSurfaceC = 45
)

// Calendar lays out a pond's year of work from the water's temperature by month.
// Every step carries the cautions that must be shown with it. It returns a
// *unit.RangeError for a temperature out of range.
func Calendar(y Year) ([]Step, error) {
	var tC [12]float64
	for i, t := range y.SurfaceWater {
		tC[i] = t.Celsius()
		if err := unit.CheckRange("surface water in "+time.Month(i+1).String()+" (°C)", tC[i], minSurfaceC, maxSurfaceC, "liquid or frozen water under the sky"); err != nil {
			return nil, err
		}
	}
	rising := func(i int) bool { return tC[(i+1)%12] >= tC[(i+11)%12] }
	months := func(keep func(i int) bool) (out []time.Month) {
		for i := range 12 {
			if keep(i) {
				out = append(out, time.Month(i+1))
			}
		}
		return out
	}
	inside := func(i int, lo, hi float64) bool { return tC[i] >= lo-hotSlackC && tC[i] <= hi+hotSlackC }

	var steps []Step
	add := func(s Step, extra ...string) {
		if (s.Work == TreatWeeds || s.Work == TreatFish) && len(s.Months) == 0 {
			s.Do = "No month's water lies between 10 and 24 °C as the work asks: ask the fish agency."
		}
		s.Cautions = append(append([]string(nil), always...), extra...)
		steps = append(steps, s)
	}
	if y.Weeds {
		add(Step{Work: TreatWeeds, Months: months(func(i int) bool { return inside(i, coldTreatC, warmTreatC) && rising(i) }),
			Do: "While the water still holds much oxygen: in the morning, a third to half of a weedy pond at a time.", Mark: unit.Judgement})
		add(Step{Work: WaitWork, Do: "10 to 14 days between the parts of a weedy pond.", Mark: unit.FromMemory, Source: "extension bulletins"})
	}
	if y.Removal {
		add(Step{Work: TreatFish, Months: months(func(i int) bool { return inside(i, coldTreatC, warmTreatC) && !rising(i) }),
			Do: "In water of 10 to 24 °C, as it cools from summer, when the pond is low and the treatment fades fast.", Mark: unit.Published, Source: "Colorado state agency, questions and answers on rotenone"},
			"Restricted products only through a licensed applicator; a permit of the fish agency first.")
		add(Step{Work: WaitWork, Do: "Re-entry after the label's time, up to 14 days. Restock only after caged fish live in the water: days to weeks in warm water, a month or more in cold.", Mark: unit.Published, Source: rotenoneSource})
	}
	if y.Restock {
		add(Step{Work: StockWork, Months: shift(y.Southern, time.October, time.November, time.December), Do: "Bluegill in autumn or winter.", Mark: unit.Published, Source: alabamaExt})
		add(Step{Work: StockWork, Months: shift(y.Southern, time.May, time.June), Do: "Bass after the bluegill have spawned, late in the following May or in June.", Mark: unit.Published, Source: alabamaExt})
	}
	start := months(func(i int) bool { return inside(i, mixedFromC, mixedToC) })
	if len(start) == 0 {
		start = coolest(tC)
	}
	add(Step{Work: StartUp, Months: start, Do: "While the pond is one temperature from top to bottom, by a profile of the last three days; spring before autumn.", Mark: unit.CommonPractice},
		"Smell of rotten eggs, fish at the surface or oxygen below 3 mg/L: stop. Swimmers out while anything is wired.")
	if hot := months(func(i int) bool { return tC[i] > hottestC }); len(hot) > 0 {
		add(Step{Work: NoStartUp, Months: hot, Do: "The surface is above 28 °C: a new start would stir oxygen-poor water into fish that have nowhere to go.", Mark: unit.Judgement})
	}
	if cold := months(func(i int) bool { return tC[i] < iceC }); len(cold) > 0 {
		add(Step{Work: Winter, Months: cold, Do: "Off and drained, unless permit, warning signs, inspection and foot traffic are settled. A start to save fish begins while mean oxygen is still 4 to 5 mg/L.", Mark: unit.Published, Source: "Illinois EPA Lake Notes"},
			"Air under ice opens and thins it, also away from the hole, and an idle hole freezes over weak. Nobody walks on it; many states require a permit, signs and inspection.",
			"Water near 4 °C at the bottom is the fish's winter refuge: mixing the whole depth chills it (University of Arkansas at Pine Bluff Extension).")
	}
	return steps, nil
}

// shift moves months of the northern year by six for the southern one.
func shift(southern bool, ms ...time.Month) []time.Month {
	if !southern {
		return ms
	}
	var out []time.Month
	for m := time.January; m <= time.December; m++ {
		for _, n := range ms {
			if (n+5)%12+1 == m {
				out = append(out, m)
			}
		}
	}
	return out
}

// coolest reports the coldest month, and all that are as cold.
func coolest(tC [12]float64) (out []time.Month) {
	least := tC[0]
	for _, t := range tC {
		least = min(least, t)
	}
	for i, t := range tC {
		if t == least {
			out = append(out, time.Month(i+1))
		}
	}
	return out
}
