package treat

import "pondwright/calc/unit"

// Lime is a kind of lime.
type Lime int

// The kinds of lime.
const (
	NoLime              Lime = iota // not chosen yet
	AgriculturalLime                // ground limestone
	HydratedOrQuickLime             // caustic
)

// Liming is a note on liming; it holds no rate, which a soil test gives.
type Liming struct {
	Needed   bool // alkalinity below 20 mg/L as CaCO₃
	Notes    []string
	Cautions []string
}

// minLimeAlkMGL is the alkalinity below which ponds are limed.
const minLimeAlkMGL = 20

// LimingNote says whether a pond's total alkalinity asks for lime: below 20 mg/L
// as CaCO₃ (University of Florida IFAS FA028; Wurts & Masser, SRAC 4100, 2013;
// Alabama Cooperative Extension). It returns a *Refusal for caustic lime in a
// pond with fish and a *unit.RangeError for an alkalinity outside 0 to 2000 mg/L.
func LimingNote(alkalinity unit.MilligramsPerLiter, kind Lime, fish bool) (Liming, error) {
	if err := unit.CheckRange("alkalinity (mg/L as CaCO₃)", float64(alkalinity), 0, 2000, "SRAC 4100, 2013"); err != nil {
		return Liming{}, err
	}
	if err := unit.CheckRange("kind of lime", float64(kind), float64(NoLime), float64(HydratedOrQuickLime), "SRAC 4100, 2013"); err != nil {
		return Liming{}, err
	}
	if kind == HydratedOrQuickLime && fish {
		return Liming{}, &Refusal{Rule: CausticLime, Remedy: "with fish in the pond use agricultural limestone only", Source: "Texas A&M AgriLife"}
	}
	l := Liming{Needed: alkalinity < minLimeAlkMGL, Cautions: []string{
		"Hydrated and quick lime raise pH fast and can kill fish (Texas A&M AgriLife); they burn skin and eyes.",
		"Follow the product's label, and leave caustic lime to licensed applicators.",
		"Ask the state's water agency before anything is put into a pond that discharges: it may require a permit.",
	}}
	if !l.Needed {
		l.Notes = []string{"Alkalinity is 20 mg/L or more: no lime for the water's sake. Ponds do well at 50 to 150 mg/L and pH 6 to 9 (Texas A&M AgriLife)."}
		return l, nil
	}
	l.Notes = []string{
		"Alkalinity is below 20 mg/L: pH swings widely from dawn to afternoon (SRAC 4100, 2013).",
		"Have the bottom mud tested for its lime requirement: the test gives the rate.",
		"Spread over the whole bottom, by boat, in autumn or winter (extension bulletins, from memory).",
		"Fertilizer is wasted before lime (Alabama Cooperative Extension).",
	}
	return l, nil
}
