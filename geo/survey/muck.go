package survey

import (
	"fmt"

	"pondwright/geo/bed"
)

// fewestFirm is how many soundings to the firm bottom make a sediment volume:
// judgement, no source.
const fewestFirm = 8

// CodeMuck is the code of warnings about soundings to the firm bottom.
const CodeMuck = "FIRM_BOTTOM"

// sediment estimates the muck between the soft bottom, to which the water is
// counted, and the firm one under it. Its thickness is a bed of its own, with the
// same doubt and zero at the shore. Only places that were sounded to both count,
// so what both soundings share cancels.
func (r *Report) sediment(in Input, soundings []bed.Sounding, progress func(share float64) bool) error {
	var thick []bed.Sounding
	var above []Source
	for i, q := range in.Readings {
		if !q.HasFirm {
			continue
		}
		if _, out := LeftOut(r.Flags[i], q.Verdict); out {
			continue
		}
		firm, err := in.Setups[q.Pass].Depth(q.Firm, q.Reference)
		soft, softErr := in.Setups[q.Pass].Depth(q.Depth, q.Reference)
		if err != nil || softErr != nil || firm < soft {
			above = append(above, q.Source)
			continue
		}
		s := soundings[i]
		// No muck is a finding and no lost bottom; the bed takes only what is deep.
		s.DepthM, s.Verdict = max(float64(firm-soft), leastEchoM), bed.Accepted
		thick = append(thick, s)
	}
	if len(above) > 0 {
		r.Warnings = append(r.Warnings, Warning{
			Code: CodeMuck, Source: first(above), Field: "firm_m",
			Message: fmt.Sprintf("%d firm bottoms lie above the soft one or are no depth and were left out; this is the first", len(above)),
			Remedy:  "check whether soft and firm are exchanged",
		})
	}
	switch {
	case len(thick) == 0:
		return nil
	case len(thick) < fewestFirm:
		r.Warnings = append(r.Warnings, Warning{
			Code: CodeMuck, Field: "firm_m",
			Message: fmt.Sprintf("the firm bottom was sounded at %d places, too few for a volume of sediment", len(thick)),
			Remedy:  fmt.Sprintf("sound soft and firm at %d places or more, spread over the pond", fewestFirm),
		})
		return nil
	}
	b, err := bed.Estimate(in.Shore, thick, bed.Options{
		OutlineSDM: float64(in.Bias.Outline),
		Progress:   func(float64) bool { return progress == nil || progress(1) },
	})
	if err != nil {
		return fmt.Errorf("survey: sediment: %w", err)
	}
	v := b.Volume()
	r.Sediment, r.Muck = &v, b
	return nil
}

// first returns the source that comes first.
func first(sources []Source) Source {
	out := sources[0]
	for _, s := range sources {
		if s.compare(out) < 0 {
			out = s
		}
	}
	return out
}
