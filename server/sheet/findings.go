package sheet

import (
	"fmt"
	"math"
	"time"

	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
)

// Findings says in a few lines what a plan achieves and what binds it.
func Findings(p *pb.Plan, u unit.System) []string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if len(p.GetDiffusers()) > 0 {
		t := p.GetTurnoversPerDay()
		unverified := ", unverified"
		if p.GetRunHoursVerified() {
			unverified = ""
			if m := p.GetSupply().GetWorstMonth(); m > 0 {
				unverified = fmt.Sprintf(" a day in %s, the shortest of the season", time.Month(m))
			}
		}
		add("Turnovers a day: %.2f (between %.2f and %.2f) in %g h of running%s; target %g, judged on the high end of the volume.",
			t.GetValue(), t.GetLow(), t.GetHigh(), math.Round(100*p.GetRunHoursPerDay())/100, unverified, p.GetTargetTurnoversPerDay())
		add("Air: %s from %s, %s in the manifold.",
			u.Both(func(u unit.System) string {
				return u.Air(unit.StdCubicMetersPerSecond(p.GetCompressorFlowM3PerS()))
			}),
			plural(int(p.GetCompressors()), "compressor"), u.Gauge(unit.PascalsGauge(p.GetManifoldPressurePaGauge())))
		add("Hose to order: %s.", u.Both(func(u unit.System) string { return u.Distance(unit.Meters(p.GetTotalHoseM())) }))
		if p.GetPlaced() {
			add("Sites: %.0f %% of the water is within reach of the places given; no other was sought.", 100*p.GetServedShare())
		} else {
			add("Sites: %.0f %% of the water is within reach; no better layout found, at most %.1f %% better is possible.",
				100*p.GetServedShare(), math.Ceil(1000*p.GetSiteGap())/10)
		}
	}
	switch {
	case p.GetBindingConstraint() > pb.Plan_NONE:
		add("What binds: %s. Needed: %s.", p.GetBindingConstraint(), unit.Words(u, p.GetShortfallTemplate(), p.GetShortfall()))
	case len(Defaults(p)) > 0:
		add("Unverified: the target would be met if every default were true.")
	case p.GetBindingConstraint() == pb.Plan_NONE:
		add("The target is met.")
	}
	return out
}
