package air

import (
	"math"

	"pondwright/calc/unit"
)

// LossPoint is the pressure a diffuser takes at a flow through it.
type LossPoint struct {
	Air  unit.StdCubicMetersPerSecond
	Loss unit.PascalsGauge
}

// Diffuser is the loss of one diffuser against flow, as a broken line of points
// with increasing flow and non-decreasing loss. It opens at the loss of its
// first point; above the last it goes on with the last slope. An empty Diffuser
// is an open end without loss.
type Diffuser []LossPoint

// LinearDiffuser opens at a pressure and takes slopePerStd more for each
// standard cubic meter per second. Clean membranes and porous stones open at
// 0.25 to 0.6 psi and take 0.05 to 0.3 psi per scfm (common practice, no
// source).
func LinearDiffuser(opening unit.PascalsGauge, perSCFM unit.PascalsGauge) Diffuser {
	return Diffuser{{0, opening}, {unit.SCFM(1), opening + perSCFM}}
}

// Fouled reports d with every loss multiplied by factor, as dirt does over the
// years; 1.5 to 2 is usual (common practice, no source).
func (d Diffuser) Fouled(factor float64) Diffuser {
	out := make(Diffuser, len(d))
	for i, p := range d {
		out[i] = LossPoint{p.Air, p.Loss * unit.PascalsGauge(factor)}
	}
	return out
}

// Loss reports the pressure taken at a flow.
func (d Diffuser) Loss(q unit.StdCubicMetersPerSecond) unit.PascalsGauge {
	return unit.PascalsGauge(d.lossPa(float64(q)))
}

func (d Diffuser) lossPa(qM3S float64) float64 {
	n := len(d)
	if n == 0 {
		return 0
	}
	if n == 1 || qM3S <= float64(d[0].Air) {
		return float64(d[0].Loss)
	}
	i := 1
	for i < n-1 && qM3S > float64(d[i].Air) {
		i++
	}
	a, b := d[i-1], d[i]
	if b.Air == a.Air {
		return float64(b.Loss)
	}
	f := (qM3S - float64(a.Air)) / float64(b.Air-a.Air)
	return float64(a.Loss) + f*float64(b.Loss-a.Loss)
}

// openingPa is the loss of the first bubble.
func (d Diffuser) openingPa() float64 { return d.lossPa(0) }

func (d Diffuser) check() error {
	const src = "a diffuser's loss rises with its flow"
	lastQ, lastP := math.Inf(-1), 0.0
	for _, p := range d {
		q, loss := float64(p.Air), float64(p.Loss)
		if err := unit.CheckRange("diffuser flow (std m³/s)", q, math.Max(0, lastQ+1e-9), 1, src); err != nil {
			return err
		}
		if err := unit.CheckRange("diffuser loss (Pa)", loss, lastP, 1e6, src); err != nil {
			return err
		}
		lastQ, lastP = q, loss
	}
	return nil
}
