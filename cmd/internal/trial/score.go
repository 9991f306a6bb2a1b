package trial

import (
	"math"
	"time"

	"pondwright/geo/bed"
)

// Fit is how well a surface meets the truth.
type Fit struct {
	Error      float64 // of the volume, as a share of the true one; negative if too small
	DepthRMSEM float64 // of the depth over the check places
}

// Score is what an estimate is worth.
type Score struct {
	Fit
	Plain Fit // of a triangulation of the same soundings
	Doubt Doubt
	// Half95 is the half-width of the 95 % interval as a share of the true
	// volume; Holds95 and Holds80 whether the intervals hold the truth.
	Half95           float64
	Holds95, Holds80 bool
	// FarShare is the share of the water farther from every sounding than the
	// lines are apart, FarError the part of Error that comes from there, found
	// from the check places.
	FarShare, FarError float64
	// ShoalShare and ShoalError are the same for water too shallow to sound.
	ShoalShare, ShoalError float64
	Diagnostics            bed.Diagnostics
	Took                   time.Duration // by the estimate
}

// Score estimates the bed from soundings and sets it beside the truth.
func (p *Pond) Score(soundings []bed.Sounding, opt bed.Options) (Score, error) {
	began := time.Now()
	b, err := bed.Estimate(p.Shore, soundings, opt)
	if err != nil {
		return Score{}, err
	}
	s := Score{Took: time.Since(began), Diagnostics: b.Diagnostics()}
	v := b.Volume()
	s.Doubt = newDoubt(b, p.VolumeM3)
	s.Half95 = float64(v.High-v.Low) / 2 / p.VolumeM3
	s.Error = float64(v.Value)/p.VolumeM3 - 1
	s.Holds95 = float64(v.Low) <= p.VolumeM3 && p.VolumeM3 <= float64(v.High)
	s.Holds80 = float64(v.Low80) <= p.VolumeM3 && p.VolumeM3 <= float64(v.High80)
	t := newPlain(p.Shore, soundings)
	s.Plain.Error = t.volumeM3()/p.VolumeM3 - 1
	n := float64(len(p.Checks))
	mean := p.VolumeM3 / p.AreaM2
	for _, c := range p.Checks {
		off := b.Depth(c.At) - c.DepthM
		s.DepthRMSEM += off * off
		s.Plain.DepthRMSEM += math.Pow(t.at(c.At)-c.DepthM, 2)
		if remote(c, soundings, s.Diagnostics.LineSpacingM) {
			s.FarShare += 1 / n
			s.FarError += off / mean / n
		}
		if c.DepthM < p.shoalM() {
			s.ShoalShare += 1 / n
			s.ShoalError += off / mean / n
		}
	}
	s.DepthRMSEM, s.Plain.DepthRMSEM = math.Sqrt(s.DepthRMSEM/n), math.Sqrt(s.Plain.DepthRMSEM/n)
	return s, nil
}

// remote reports whether every sounding is farther from c than limitM.
func remote(c Check, soundings []bed.Sounding, limitM float64) bool {
	for k := range soundings {
		if d := soundings[k].At.Sub(c.At); d.Dot(d) <= limitM*limitM {
			return false
		}
	}
	return true
}
