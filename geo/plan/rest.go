package plan

import (
	"slices"
	"time"

	"github.com/golang/geo/s2"
)

// longestRest in the season after which a start is a new one, because the pond may
// have layered again: judgement, no source.
const longestRest = 5 * 24 * time.Hour

// Rest is how long a system has stood still.
type Rest struct {
	Ever     bool
	Since    time.Time     // last seen running; zero if never
	Gap      time.Duration // since then, as far as it lies in the season
	NewStart bool          // treat the next switching-on as a first start
}

// RestOf reports how long nobody has seen a system run. One that was never seen
// running, not in the last year, or not for more than five days of the season, needs
// a new start. Sightings may come in any order; those after now are left out.
func RestOf(seen []time.Time, now time.Time, where s2.LatLng) Rest {
	year := now.AddDate(-1, 0, 0)
	var times []time.Time
	for _, t := range seen {
		if !t.After(now) {
			times = append(times, t)
		}
	}
	slices.SortFunc(times, time.Time.Compare)
	if len(times) == 0 {
		return Rest{NewStart: true}
	}
	r := Rest{Ever: true, Since: times[len(times)-1]}
	if r.Since.Before(year) {
		r.Gap, r.NewStart = now.Sub(r.Since), true
		return r
	}
	for d := r.Since; d.Before(now); d = d.Add(time.Hour) {
		if InSeason(d, where) {
			r.Gap += min(time.Hour, now.Sub(d))
		}
	}
	r.NewStart = r.Gap > longestRest
	return r
}

// InSeason reports whether ponds of a place may lie in layers at a time: April to
// October, in the south October to April (judgement).
func InSeason(t time.Time, where s2.LatLng) bool {
	m := t.Month()
	if where.Lat < 0 {
		return m >= time.October || m <= time.April
	}
	return m >= time.April && m <= time.October
}
