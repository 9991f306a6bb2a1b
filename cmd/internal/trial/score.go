package trial

import (
	"math"

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
	Bed   *bed.Bed
	// Half95 is the half-width of the 95 % interval as a share of the true
	// volume; Holds95 and Holds80 whether the intervals hold the truth.
	Half95           float64
	Holds95, Holds80 bool
}

// Score estimates the bed from soundings and sets it beside the truth.
func (p *Pond) Score(soundings []bed.Sounding, opt bed.Options) (Score, error) {
	b, err := bed.Estimate(p.Shore, soundings, opt)
	if err != nil {
		return Score{}, err
	}
	v := b.Volume()
	s := Score{Bed: b, Half95: float64(v.High-v.Low) / 2 / p.VolumeM3}
	s.Error = float64(v.Value)/p.VolumeM3 - 1
	s.Holds95 = float64(v.Low) <= p.VolumeM3 && p.VolumeM3 <= float64(v.High)
	s.Holds80 = float64(v.Low80) <= p.VolumeM3 && p.VolumeM3 <= float64(v.High80)
	t := newPlain(p.Shore, soundings)
	s.Plain.Error = t.volumeM3()/p.VolumeM3 - 1
	for _, c := range p.Checks {
		s.DepthRMSEM += math.Pow(b.Depth(c.At)-c.DepthM, 2)
		s.Plain.DepthRMSEM += math.Pow(t.at(c.At)-c.DepthM, 2)
	}
	n := float64(len(p.Checks))
	s.DepthRMSEM, s.Plain.DepthRMSEM = math.Sqrt(s.DepthRMSEM/n), math.Sqrt(s.Plain.DepthRMSEM/n)
	return s, nil
}
