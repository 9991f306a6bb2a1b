package bed

import (
	"math"

	"pondwright/calc/unit"
)

// MaxStages is the greatest number of rows of a stage table.
const MaxStages = 1000

// Stage is the pond at one water level.
type Stage struct {
	Drawdown unit.Meters // from the level of the shoreline
	Area     Interval[unit.SquareMeters]
	Volume   Interval[unit.CubicMeters] // of the water below that level
}

// Stages returns the pond at every level from that of the shoreline down in the
// given step, and last the dry pond. It is nil for a step that is not positive or
// gives more than MaxStages rows.
func (b *Bed) Stages(step unit.Meters) []Stage {
	deepest := float64(b.curve.MaxDepth())
	if !(step > 0) || deepest/float64(step) > MaxStages-1 {
		return nil
	}
	out := make([]Stage, int(math.Ceil(deepest/float64(step)))+1)
	inParallel(len(out)-1, func(k int) { out[k] = b.stage(unit.Meters(float64(k) * float64(step))) })
	out[len(out)-1].Drawdown = unit.Meters(deepest)
	return out
}

func (b *Bed) stage(drawdown unit.Meters) Stage {
	if drawdown == 0 {
		return Stage{0, b.area, b.volume}
	}
	volume, area := b.Part(Part{Upper: drawdown})
	return Stage{drawdown, area, volume}
}

// StageFor returns the drawdown that leaves a volume in the pond; its doubt is that
// of the volume below that level, over the area there. It reports true for a volume
// that is above all that was surveyed, with a drawdown of zero.
func (b *Bed) StageFor(volume unit.CubicMeters) (drawdown Interval[unit.Meters], above bool) {
	if !(volume < b.curve.Volume(0)) {
		return Interval[unit.Meters]{}, volume > b.curve.Volume(0)
	}
	at := b.curve.Drawdown(volume)
	s := b.stage(at)
	sd := float64(b.deepest.High-b.deepest.Low) / (2 * z95) // of a dry pond
	if s.Area.Value > 0 && s.Volume.Value > 0 {
		logSD := math.Log(float64(s.Volume.High/s.Volume.Value)) / z95
		sd = min(sd, float64(s.Volume.Value)*logSD/float64(s.Area.Value))
	}
	end := func(z float64) unit.Meters { return max(0, at+unit.Meters(z*sd)) }
	return Interval[unit.Meters]{at, end(-z95), end(z95), end(-z80), end(z80)}, false
}
