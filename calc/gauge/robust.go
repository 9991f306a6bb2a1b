package gauge

import (
	"slices"
)

// median reports the middle value, the mean of the two middle ones for an even
// number, zero for none.
func median(xs []float64) float64 {
	if len(xs) == 0 {
		return 0
	}
	s := slices.Clone(xs)
	slices.Sort(s)
	mid := len(s) / 2
	if len(s)%2 == 1 {
		return s[mid]
	}
	return (s[mid-1] + s[mid]) / 2
}

// slope reports the median slope between all pairs of points, zero with fewer than
// three or where all share one x. With more than mostPoints it takes the last ones.
func slope(xs, ys []float64) float64 {
	if len(xs) > mostPoints {
		xs, ys = xs[len(xs)-mostPoints:], ys[len(ys)-mostPoints:]
	}
	if len(xs) < 3 {
		return 0
	}
	var slopes []float64
	for i := range xs {
		for j := range i {
			if dx := xs[i] - xs[j]; dx != 0 {
				slopes = append(slopes, (ys[i]-ys[j])/dx)
			}
		}
	}
	return median(slopes)
}

// scatter reports the robust standard deviation about the line of a slope through
// the medians.
func scatter(xs, ys []float64, slope float64) float64 {
	rest := make([]float64, len(xs))
	for i := range xs {
		rest[i] = ys[i] - slope*xs[i]
	}
	mid := median(rest)
	for i := range rest {
		rest[i] = max(rest[i]-mid, mid-rest[i])
	}
	return 1.4826 * median(rest)
}
