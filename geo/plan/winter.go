package plan

import "pondwright/calc/unit"

// Answer is what a person said to a question.
type Answer uint8

// The answers. The zero Answer was not given.
const (
	NotAnswered Answer = iota
	Yes
	No
)

// WinterInput is what has to be known before air runs under or beside ice.
type WinterInput struct {
	Ice     Answer // the pond may freeze over
	Direct  bool   // panels without a battery: off for days at a time
	Wanted  bool   // somebody wants to run it all the same
	Permit  Answer // the state's permit for open water in ice is there, or none is asked for
	Signs   Answer // warning signs stand at every access and round the open water
	Inspect Answer // somebody inspects them at least every seven days
	Traffic Answer // people or vehicles go on the ice
	// TrafficUse says that the pond's record names winter traffic among its uses.
	TrafficUse bool
}

// Winter is whether air may run in winter, and what to do.
type Winter struct {
	Run        bool
	Objections []Objection // against running; empty if Run or nobody wants to
	Do         []string
	Cautions   []Caution
}

// DecideWinter decides on running through a winter. Off and drained is the rule;
// running needs every answer, and nobody on the ice.
func DecideWinter(in WinterInput) Winter {
	w := Winter{Cautions: []Caution{
		{"ICE_NEVER_SAFE", "Air opens and thins ice far beyond the hole that shows; a leak makes others, and an idle hole freezes over weak. Nobody walks or drives on it, and the crew stays ashore."},
		{"ICE_LAW", "Many states ask for a permit, notices, signs and inspection for open water in ice: the state's law decides."},
		{"WINTER_REFUGE", unit.Say("Bottom water near %s is the fish's winter refuge: mixing the whole depth chills it (Scott Jones, University of Arkansas at Pine Bluff Extension).", unit.Celsius(4).Text())},
	}}
	if in.Wanted {
		w.Objections = in.objections()
		w.Run = len(w.Objections) == 0
	}
	if !w.Run {
		w.Do = []string{"Switch off before the ice, close and tag the switch.", "Bleed and drain the manifold and every hose; leave valves half open.", "Keep warning signs up until the ice is whole and sound."}
		return w
	}
	w.Do = []string{
		"One diffuser only, near the shore, at a third to half of the depth (common practice, no source); all others shut.",
		"Start while the mean oxygen is still 4 to 5 mg/L: a late start mixes dead water and can finish the kill (Illinois EPA Lake Notes).",
		"Signs at every access and round the open water; inspect at least every seven days (Minnesota DNR notices) and write it down.",
	}
	return w
}

func (in WinterInput) objections() []Objection {
	var out []Objection
	add := func(when bool, code, text, remedy string) {
		if when {
			out = append(out, Objection{code, unit.Text(text), remedy})
		}
	}
	if in.Ice == No {
		return nil
	}
	add(in.Ice == NotAnswered, "ICE_NOT_TOLD", "nobody said whether the pond freezes over", "answer it")
	add(in.Direct, "DIRECT_DRIVE", "panels alone stop and start for days at a time: the hole freezes over weak again and again", "run it from a battery or the grid, or leave it off and drained")
	add(in.Permit != Yes, "PERMIT_MISSING", "the permit for open water in ice is not settled", "ask the state's agency")
	add(in.Signs != Yes, "SIGNS_MISSING", "warning signs are not settled", "put them at every access and round the open water")
	add(in.Inspect != Yes, "INSPECTION_MISSING", "nobody inspects signs and ice every week", "name who does")
	add(in.Traffic == NotAnswered && !in.TrafficUse, "TRAFFIC_NOT_TOLD", "nobody said whether people go on the ice", "ask the owner and the neighbors")
	add(in.Traffic == Yes || in.TrafficUse, "TRAFFIC_ON_ICE", "people or vehicles go on this ice", "keep the air off, or keep everybody off the ice")
	return out
}
