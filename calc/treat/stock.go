package treat

import (
	"math"

	"pondwright/calc/unit"
)

// Fish is a kind of fish by its trade name.
type Fish string

// The fish that the stocking table knows.
const (
	LargemouthBass Fish = "largemouth bass"
	Bluegill       Fish = "bluegill"
	Redear         Fish = "redear sunfish"
	ChannelCatfish Fish = "channel catfish"
)

// PerAcre is a number of fish per acre of water surface, as a range.
type PerAcre struct {
	Fish      Fish
	Low, High float64
	Size      string // as the source says, may be empty
}

// Scheme is one published way to stock a pond.
type Scheme struct {
	Name     string // unique
	When     string // the condition that the source sets
	Fish     []PerAcre
	MinAcres float64 // 0 where the source sets none
	MaxAcres float64 // 0 where the source sets none
	Note     string
	Mark     unit.Mark
	Source   string
}

const (
	kansas     = "Kansas Wildlife and Parks"
	missouri   = "Missouri recommendation, Pobst 1996"
	clemson    = "Clemson Cooperative Extension HGIC, stocking and harvesting recreational fish ponds"
	alabamaExt = "Alabama Cooperative Extension, species selection and stocking in recreational fish ponds"
	alabamaWFF = "Alabama wildlife agency, outdooralabama.com"
)

// Schemes lists the stocking schemes, in a fixed order.
func Schemes() []Scheme {
	one := func(f Fish, n float64) PerAcre { return PerAcre{f, n, n, ""} }
	span := func(f Fish, lo, hi float64, size string) PerAcre { return PerAcre{f, lo, hi, size} }
	p := unit.Published
	return []Scheme{
		{"Kansas, fingerlings", "pond of an acre or more, one can see at least 12 in into the water",
			[]PerAcre{span(LargemouthBass, 100, 100, "fingerlings"), one(Bluegill, 500), one(ChannelCatfish, 100)}, 1, 0, "", p, kansas},
		{"Kansas, larger fish", "pond of an acre or more, one can see at least 12 in into the water",
			[]PerAcre{span(LargemouthBass, 50, 50, "8 to 12 in"), span(Bluegill, 100, 250, "4 to 5 in"), one(ChannelCatfish, 50)}, 1, 0, "3 lb of fathead minnows per acre as well", p, kansas},
		{"Kansas, catfish only", "pond under an acre, or turbid", []PerAcre{span(ChannelCatfish, 200, 200, "fingerlings")}, 0, 0, "half as many in turbid water, or 100 larger fish", p, kansas},
		{"Missouri, new pond", "fertile soil", []PerAcre{span(LargemouthBass, 0, 100, ""), one(Bluegill, 500), one(ChannelCatfish, 100)}, 0, 0, "2 to 3 lb of fathead minnows per acre as well", p, missouri},
		{"Missouri, new pond, poor soil", "soil of poor fertility", []PerAcre{one(LargemouthBass, 50), one(Bluegill, 250), one(ChannelCatfish, 50)}, 0, 0, "", p, missouri},
		{"Mississippi, catfish only", "pond under an acre", []PerAcre{span(LargemouthBass, 25, 25, "to eat the catfish's young"), span(ChannelCatfish, 100, 150, "")}, 0, 1, "no more than 500 lb of fish per acre without aeration", p, "Mississippi State University Extension"},
		{"Kentucky trials", "574 farm ponds tried", []PerAcre{span(LargemouthBass, 30, 100, "fry"), span(Bluegill, 400, 500, "")}, 0, 0, "", p, "J. F. Hall, Southeastern Association of Fish and Wildlife Agencies"},
		{"South Carolina, fertilized", "fertilized through the season", []PerAcre{one(LargemouthBass, 100), one(Bluegill, 1000)}, 0, 0, "", p, clemson},
		{"South Carolina, unfertilized", "not fertilized", []PerAcre{one(LargemouthBass, 50), one(Bluegill, 500)}, 0, 0, "", p, clemson},
		{"Alabama, fertilized", "fertilized through the season", []PerAcre{span(LargemouthBass, 75, 100, ""), one(Bluegill, 1000), span(ChannelCatfish, 50, 100, "")}, 0.5, 0, "bluegill in autumn or winter, bass late in the following May or in June", p, alabamaExt},
		{"Alabama, fertilized, with redear", "fertilized through the season", []PerAcre{span(LargemouthBass, 75, 100, ""), one(Bluegill, 800), one(Redear, 200), span(ChannelCatfish, 50, 100, "")}, 0.5, 0, "bluegill and redear in autumn or winter, bass late in the following May or in June", p, alabamaExt},
		{"Alabama agency, fertilized", "fertilized through the season", []PerAcre{one(LargemouthBass, 100), span(Bluegill, 1000, 1500, "")}, 0, 0, "", p, alabamaWFF},
		{"Alabama agency, unfertilized", "not fertilized", []PerAcre{one(LargemouthBass, 50), span(Bluegill, 500, 750, "")}, 0, 0, "", p, alabamaWFF},
	}
}

// Area is a measured water surface with its interval, 0 < Low ≤ Best.
type Area struct{ Low, Best unit.SquareMeters }

// Count is a number of fish to stock, as a range.
type Count struct {
	Fish      Fish
	Low, High int
	Size      string
}

// Stocking is a scheme worked out for a pond.
type Stocking struct {
	Scheme    Scheme
	Fish      []Count
	AreaUsed  unit.SquareMeters
	AreaNamed string // which end of the area that is
	Cautions  []string
}

// Stock works out a scheme, named as in Schemes, for the pond's area at its
// usual level. It uses the low end of the area and rounds down. It returns a
// *unit.RangeError for an area that the scheme does not cover and a *Refusal for
// an unknown name.
func Stock(name string, area Area) (Stocking, error) {
	const source = "a pond measured with its doubt"
	if err := unit.CheckRange("water surface (m²)", float64(area.Best), 1, 1e9, source); err != nil {
		return Stocking{}, err
	}
	if err := unit.CheckRange("low end of the water surface (m²)", float64(area.Low), 1, float64(area.Best), source); err != nil {
		return Stocking{}, err
	}
	for _, s := range Schemes() {
		if s.Name == name {
			return s.stock(area)
		}
	}
	return Stocking{}, &Refusal{Rule: AgainstFigure, Remedy: "name one of the published schemes"}
}

func (s Scheme) stock(area Area) (Stocking, error) {
	most := s.MaxAcres
	if most == 0 {
		most = math.MaxFloat64
	}
	if err := unit.CheckRange("water surface (acres)", area.Best.Acres(), s.MinAcres, most, s.Source); err != nil {
		return Stocking{}, err
	}
	st := Stocking{
		Scheme:    s,
		AreaUsed:  area.Low,
		AreaNamed: "low end of the measured area at the usual level",
		Cautions: []string{
			"Numbers follow a published table for its own region; ask the state's fish agency, which may require a permit to stock.",
			"Buy from a hatchery that the state has licensed, and bring in no fish from other waters.",
			"Use the area at the usual level, not at full pool.",
			"More fish need aeration and feed; aeration alone is no reason to stock more (common practice, no source).",
			"After a treatment stock only when caged fish live, and never sooner than the label allows.",
		},
	}
	for _, f := range s.Fish {
		whole := func(perAcre float64) int { return int(math.Floor(perAcre*area.Low.Acres() + 1e-9)) }
		st.Fish = append(st.Fish, Count{f.Fish, whole(f.Low), whole(f.High), f.Size})
	}
	return st, nil
}
