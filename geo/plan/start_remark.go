package plan

import (
	"strings"
	"time"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
	"pondwright/calc/water"
)

// Codes of objections to a start.
const (
	CodeUndecided      = "CONFLICT_UNRESOLVED"
	CodeNoProfile      = "NO_PROFILE"
	CodeNoOxygen       = "NO_OXYGEN_READING"
	CodeProfileOld     = "PROFILE_TOO_OLD"
	CodeProfileShort   = "PROFILE_TOO_SHORT"
	CodeNotDeepest     = "NOT_AT_DEEPEST_POINT"
	CodeNotDawn        = "NOT_AT_DAWN"
	CodeSmellUnknown   = "SMELL_NOT_TOLD"
	CodeSmell          = "ROTTEN_EGGS"
	CodeTooWarm        = "SURFACE_TOO_WARM"
	CodeNobodyStops    = "NOBODY_STOPS_IT"
	CodeNoLockout      = "NO_LOCKOUT"
	CodeNoFishLimit    = "FISH_LIMIT_MISSING"
	CodeTooWarmForFish = "TOO_WARM_FOR_FISH"
	CodeLowOxygen      = "OXYGEN_TOO_LOW"
	CodeNothingToSpend = "NOTHING_TO_SPEND"
	CodeShallowJets    = "DIFFUSERS_TOO_SHALLOW"
)

// Dawn, as the sun tells it: from the first light by which a boat can be handled
// until the pond begins to make oxygen. Judgement, no source.
const (
	dawnFrom = -12 * s1.Degree
	dawnTo   = 10 * s1.Degree
)

// AtDawn reports whether an instant lies in the dawn of a place. It returns a
// *unit.RangeError for a year outside 1900 to 2100.
func AtDawn(t time.Time, where s2.LatLng) (bool, error) {
	p, err := sun.PositionAt(t, where, sun.Air{})
	if err != nil {
		return false, err
	}
	return p.HourAngle < 0 && p.Elevation >= dawnFrom && p.Elevation <= dawnTo, nil
}

// objections are the reasons against a start that can be told before the pond is
// mixed in mind.
func (in StartInput) objections() []Objection {
	var out []Objection
	add := func(when bool, code, text, remedy string) {
		if when {
			out = append(out, Objection{code, unit.Text(text), remedy})
		}
	}
	add(len(in.Undecided) > 0, CodeUndecided, "people wrote different things of "+strings.Join(in.Undecided, ", ")+", and nobody has settled it", "settle it on a device that holds both versions")
	none := in.Profile.IsZero()
	add(none, CodeNoProfile, "measure first: there is no profile", "read temperature and oxygen every half meter at the deepest point, at dawn")
	if !none {
		out = append(out, in.profileObjections()...)
	}
	add(!in.Stops && in.Person == "", CodeNobodyStops, water.NobodyStopsIt.String(), "fit a timer, or name the person who switches off each day")
	add(in.Direct && !in.Lockout, CodeNoLockout, "panels start the machines again by themselves after every dull spell", "fit a lock-out or timer that a person resets")
	add(in.Fish.ColdWater && in.Fish.Limit == 0, CodeNoFishLimit, "cold-water fish live here and nobody said what water they bear", "give their temperature limit")
	return out
}

// profileObjections are those against the profile itself.
func (in StartInput) profileObjections() []Objection {
	p, seen := in.Profile, in.Seen
	bottom := in.Deepest
	if seen.Bottom > 0 {
		bottom = seen.Bottom
	}
	facts := water.Observation{
		Age: in.age(), Dawn: seen.Dawn, AboveBottom: bottom - p.Deepest(), Surface: p.Temperature(0), Warmest: in.Warmest,
		RottenEggs: seen.RottenEggs, HasOxygen: p.HasOxygen(), CanStopOrWatch: true,
	}
	if dawn, err := AtDawn(seen.Taken, in.Where); err != nil || !dawn {
		facts.Dawn = false
	}
	var out []Objection
	for _, o := range facts.Objections() {
		out = append(out, objectionOf(o, in))
	}
	if seen.Bottom > 0 && seen.Bottom < in.Deepest-offDeepest {
		out = append(out, Objection{CodeNotDeepest,
			unit.Say("the profile was taken in %s of water, the pond is %s deep", seen.Bottom.Text(), in.Deepest.Text()), "take it at the deepest point"})
	}
	if !seen.SmellAsked && !seen.RottenEggs {
		out = append(out, Objection{CodeSmellUnknown, "nobody said what bottom water smells of", "draw water from the bottom and smell it"})
	}
	return out
}

// age is how old the profile is now, or on the day of the first run if that is later.
// It is below zero for a profile from the future.
func (in StartInput) age() time.Duration {
	if now := in.Now.Sub(in.Seen.Taken); now < 0 {
		return now
	}
	return max(in.Now.Sub(in.Seen.Taken), dayOf(in.First).Sub(in.Seen.Taken))
}

// objectionOf gives an objection of the profile its code and remedy.
func objectionOf(o water.Objection, in StartInput) Objection {
	text := unit.Text(o.String())
	switch o {
	case water.NoOxygenReading:
		return Objection{CodeNoOxygen, text, "read oxygen at every depth of the profile"}
	case water.ProfileTooOld:
		return Objection{CodeProfileOld, unit.Say("%s: %.1f days", text, in.age().Hours()/24), "take a new one before the first run, with the clock of the device right"}
	case water.ProfileTooShort:
		return Objection{CodeProfileShort, unit.Say("%s: at %s", text, in.Profile.Deepest().Text()), "read down to the bottom at the deepest point"}
	case water.NotAtDawn:
		return Objection{CodeNotDawn, text, "read it again about sunrise"}
	case water.SmellsOfSulfide:
		return Objection{CodeSmell, text, "wait until the season has turned the pond over and ask the fish agency"}
	case water.SurfaceTooWarm:
		warmest := in.Warmest
		if warmest == 0 {
			warmest = water.WarmestStart
		}
		return Objection{CodeTooWarm, unit.Say("surface water is %s, too warm for a new start above %s", in.Profile.Temperature(0).Exactly(), warmest.Exactly()), "wait for cooler water"}
	case water.NobodyStopsIt:
	}
	return Objection{CodeNobodyStops, text, "fit a timer, or name the person who switches off each day"}
}

// mixedObjections are the reasons that lie in what the pond would be once mixed.
func (in StartInput) mixedObjections(s Start) []Objection {
	var out []Objection
	if s.Gate == water.Stop {
		out = append(out, Objection{CodeLowOxygen,
			unit.Say("mixed at once the pond would hold %.1f mg/L at the bad ends, below 3", float64(s.Bad.Oxygen)), "wait until the season turns; measure again after cool, windy days"})
	}
	if f := in.Fish; f.ColdWater && f.Limit > 0 && s.Expected.Temperature > f.Limit {
		out = append(out, Objection{CodeTooWarmForFish,
			unit.Say("mixed from top to bottom the pond would be %s, above the %s its fish bear", s.Expected.Temperature.Exactly(), f.Limit.Exactly()),
			"leave their cold water alone this summer"})
	}
	return out
}

// assume lists what the answer rests on that nobody measured.
func (s *Start) assume(in StartInput) {
	s.Assumptions = append(s.Assumptions,
		Assumption{Name: "oxygen that bottom water takes at once", Value: unit.Say("%.1f mg/L", float64(s.Demand)), Default: in.Seen.Demand == nil, Source: string(unit.Judgement)},
		Assumption{Name: "error of the oxygen probe", Value: unit.Say("%.1f mg/L", float64(oxygenError)), Default: true, Source: string(unit.Judgement)},
		Assumption{Name: "volume, bad ends", Value: unit.Say("upper water %.0f %%, bottom water %.0f %%", 100*in.Low, 100*in.High), Source: "the survey's 95 % interval"})
	if in.RunHours == 0 {
		s.Assumptions = append(s.Assumptions, Assumption{Name: "run hours a day", Value: "24 h", Default: true, Source: "nobody said"})
	}
}

// visits lists who has to be there, and when.
func (s *Start) visits(in StartInput) {
	for i, d := range s.Days {
		why := "At dawn read oxygen below the surface and at mid-depth; put it in place of the one expected and plan again. Switch on from mid-morning if the day is sunny"
		if in.Stops {
			why += "; see that the timer is set."
		} else {
			why += "; switch off after the day's run."
		}
		s.Visits = append(s.Visits, Visit{Date: d.Date, Who: in.Person, Why: unit.Text(why)})
		if i == len(s.Days)-1 {
			s.Visits = append(s.Visits, Visit{Date: d.Date.AddDate(0, 0, 1), Who: in.Person, Why: "At dawn take a whole profile: has the pond rolled over?"})
		}
	}
	for _, st := range s.Steps {
		s.Visits = append(s.Visits, Visit{Date: st.From, Who: in.Person,
			Why: unit.Say("At dawn read oxygen; if it is above 5 mg/L hang the diffusers %s deep, with the air off while you handle them.", st.Depth.Text())})
	}
}

// rules are what ends a run or a start.
func rules() []string {
	return []string{
		"End the day's run when oxygen below the surface falls under 4 mg/L.",
		"End the start when it falls under 3 mg/L, when it smells of rotten eggs, or when fish come to the surface.",
		"No run at dawn, after dull days, or while algae are dying off: from mid-morning to afternoon of a sunny day.",
		"Each dawn the oxygen read replaces the one expected, and the days are planned again.",
	}
}

// instead is what may be done in place of a start.
func instead() []string {
	return []string{
		"Start in spring before the water layers, or in autumn after it has turned over: a profile of at most three days then shows one temperature from top to bottom.",
		"Hang the diffusers shallow and lower them in steps, each after a dawn reading.",
	}
}

// startCautions go with every answer about a start.
func startCautions() []Caution {
	return []Caution{
		{"START_CAN_KILL", "A start can kill every fish in the pond within hours: bottom water without oxygen comes up faster than the surface takes it in."},
		{"TWO_IN_THE_BOAT", "Two people, life jackets, no boat in wind or lightning."},
		{"SWIMMERS_OUT", "Swimmers out of the water while anything electric is worked on; wiring is for a licensed electrician under the local code."},
		{"REST_IS_A_NEW_START", "After more than five days without air in the season treat it as a new start."},
	}
}
