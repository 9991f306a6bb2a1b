// Package bed infers a pond's bed from its shoreline and a boat's soundings, and
// says how far to trust it.
//
// The bed is not interpolated: every interpolation of soundings alone loses
// volume between the lines. It is the mean of two models that both start from the
// shoreline. The first is a trend, a combination of three shapes of the outline
// (the torsion function p: −∇²p = 1 in the water, p = 0 ashore; its square root;
// the distance to the shore), and what the soundings say beyond it, a Gaussian
// Markov random field with bending and tension energy that is zero at the shore
// (Lindgren, Rue & Lindström, 2011, JRSS B 73, 423–498). The second is p over a
// small power of the local width, times such a field that is free at the shore. Where
// a line ends the bed is taken to rise evenly to the shore. Noise and smoothness come
// from the likelihood of the data, blunders from an along-track filter and Student-t
// weights, the interval of the volume from the posterior variance and from leaving out
// one line at a time.
//
//	b, err := bed.Estimate(s, soundings, bed.Options{})
//	v := b.Volume()
//	fmt.Println(v.Value, v.Low, v.High) // 95 %
//
// The estimate does not depend on the order in which soundings arrive nor on the
// number of processors.
package bed

import (
	"errors"
	"math"

	"pondwright/calc/unit"
	"pondwright/geo/curve"
	"pondwright/geo/grid"
	"pondwright/geo/plane"
	"pondwright/geo/shore"
)

// ErrCanceled is returned when Options.Progress returned false.
var ErrCanceled = errors.New("bed: canceled")

// MaxDepthM is the greatest depth taken for a pond's; a sounding beyond it is
// flagged as not a depth.
const MaxDepthM = 100

// Interval is a value with the range that holds the truth in 95 and in 80 of 100
// cases.
type Interval[Q ~float64] struct {
	Value         Q
	Low, High     Q // 95 %
	Low80, High80 Q // 80 %
}

// Options tunes an estimate. The zero value is the default.
type Options struct {
	// SpacingM is the grid spacing in meters, see grid.Options.
	SpacingM float64
	// OutlineSDM is the standard deviation of the outline's position, which
	// gives the area its interval. Zero means DefaultOutlineSDM.
	OutlineSDM float64
	// PositionSDM is the standard deviation, per axis, of the position error that
	// stays the same along one boat line. Zero means DefaultPositionSDM.
	PositionSDM float64
	// LevelSDM, DraftSDM and MuckSDM are standard deviations in meters of errors
	// common to all soundings: of the water level, of the transducer's depth and
	// of the top of the mud. SoundSpeedSD is that of the sound speed as a share.
	// They cannot be seen in the soundings and are added as given.
	LevelSDM, DraftSDM, MuckSDM, SoundSpeedSD float64
	// Models, if set, holds what an earlier estimate of the same pond found, from its
	// Diagnostics: each model's Smoothness is kept instead of being found anew, which
	// takes more than half of the time. A model not named finds its own.
	Models []ModelDiagnostics
	// Progress, if set, is called now and then with the share of work done, from
	// 0 to 1. Returning false cancels the estimate.
	Progress func(share float64) bool
}

// DefaultOutlineSDM is the standard deviation taken for the position of an
// outline walked with a hand-held receiver or traced from an image: common
// practice, no source.
const DefaultOutlineSDM = 1.0

// DefaultPositionSDM is the standard deviation taken for a hand-held receiver
// without corrections: common practice, no source.
const DefaultPositionSDM = 0.8

// Cell is the piece of water nearest a grid node. All cells together make up
// the pond's area and volume.
type Cell struct {
	At       plane.Point
	AreaM2   float64
	VolumeM3 float64
	DepthM   float64 // at the node
	Slope    float64 // of the bed at the node, meters per meter
	ShoreM   float64 // distance to the shore
}

// Diagnostics says what the estimate rests on.
type Diagnostics struct {
	Lines         int     // boat lines told apart
	Used          int     // soundings used
	Bins          int     // places they were merged into
	NoiseM        float64 // standard deviation of one bin about the bed
	Models        []ModelDiagnostics
	ModelsApartM3 float64 // difference of the models' volumes: a warning where it is large against the interval
	PosteriorSDM3 float64 // G: what the field alone admits; too small to be shown as the doubt
	WanderSDM3    float64 // what position errors along whole lines do to the volume
	RimSDM3       float64 // what the shallow rim that no boat reaches leaves open
	LeaveOneOutM3 float64 // spread of the volume when a line is left out
	Scale         float64 // volume of the surface over that of the unclipped field
	FarShare      float64 // share of the water farther from a sounding than the line spacing
	LineSpacingM  float64 // water area over the length of the lines
	LagS, LagSDS  float64 // position lag found and its standard deviation; zero if not identifiable
	LagApplied    bool
	SpacingM      float64 // of the grid
	Nodes         int
	Guess         bool // no sounding was usable: the bed is a guess from the outline
}

// ModelDiagnostics says what one of the models makes of the data. The estimate is
// the mean of the models.
type ModelDiagnostics struct {
	Name          string
	Weight        float64 // in the mean
	VolumeM3      float64
	LeaveOneOutM3 float64 // spread of its volume when a line is left out
	NoiseM        float64 // standard deviation of one bin about its bed
	Smoothness    float64 // ratio of noise to field variance found by likelihood
}

// Bed is an estimated bed. It is immutable and safe to share.
type Bed struct {
	grid    *grid.Grid
	depthM  []float64
	curve   *curve.Curve
	cells   []Cell
	flags   [][]Flag
	volume  Interval[unit.CubicMeters]
	area    Interval[unit.SquareMeters]
	mean    Interval[unit.Meters]
	deepest Interval[unit.Meters]
	diag    Diagnostics

	doubtful    []model       // for the doubt at a place; none for a guess
	near        *neighborhood // its data
	strips      strips
	shore       *shore.Shore
	volumeSDM3  float64
	areaSD      float64 // of the log of the area
	positionSDM float64
	missM       float64 // root mean square miss of a line left out
	commonM     float64 // errors common to all soundings
	speedSD     float64
}

// Grid returns the grid on which the bed was estimated.
func (b *Bed) Grid() *grid.Grid { return b.grid }

// Mesh returns the mesh of the surface.
func (b *Bed) Mesh() *grid.Mesh { return &b.grid.Mesh }

// DepthsM returns the depth at each point of the mesh, in meters. The caller
// must not change it.
func (b *Bed) DepthsM() []float64 { return b.depthM }

// Curve returns area and volume against drawdown.
func (b *Bed) Curve() *curve.Curve { return b.curve }

// Cells returns the pieces of water about each grid node, in the grid's order.
// The caller must not change them.
func (b *Bed) Cells() []Cell { return b.cells }

// Flags returns what the rules found wrong with each sounding, in the order in
// which they were given. The caller must not change it.
func (b *Bed) Flags() [][]Flag { return b.flags }

// Volume returns the volume at the level of the shoreline.
func (b *Bed) Volume() Interval[unit.CubicMeters] { return b.volume }

// Area returns the water area; its doubt is that of the outline.
func (b *Bed) Area() Interval[unit.SquareMeters] { return b.area }

// MeanDepth returns the volume over the area.
func (b *Bed) MeanDepth() Interval[unit.Meters] { return b.mean }

// MaxDepth returns the greatest depth.
func (b *Bed) MaxDepth() Interval[unit.Meters] { return b.deepest }

// Diagnostics returns what the estimate rests on.
func (b *Bed) Diagnostics() Diagnostics { return b.diag }

// Depth returns the depth in meters at p, zero ashore.
func (b *Bed) Depth(p plane.Point) float64 {
	t, w, ok := b.grid.Mesh.Locate(p)
	if !ok {
		return 0
	}
	v := b.grid.Mesh.Triangles[t]
	return max(0, w[0]*b.depthM[v[0]]+w[1]*b.depthM[v[1]]+w[2]*b.depthM[v[2]])
}

// DepthSD returns the standard deviation of the depth at p in meters: that of the
// fields, the distance of the models from their mean, and the part of the
// leave-one-line-out miss that the distance to the nearest sounding admits. It is
// zero ashore. It takes some tenths of a
// millisecond.
func (b *Bed) DepthSD(p plane.Point) float64 {
	depth := b.Depth(p)
	if b.doubtful == nil {
		return depth * math.Log(guessFactor) / z95
	}
	field, ok := b.fieldVariance(p)
	if !ok {
		return 0
	}
	_, distance := b.near.nearest(p)
	return math.Sqrt(field + b.betweenVariance(distance, depth))
}

// fieldVariance returns the variance of the depth at p that the models admit, and
// that of the models about their mean. It reports false ashore.
func (b *Bed) fieldVariance(p plane.Point) (float64, bool) {
	var sd, mean, square float64
	for _, m := range b.doubtful {
		f := m.coarse
		o, ok := f.observe(p)
		if !ok {
			return 0, false
		}
		quad := f.factor.gram([]sparseRow{f.row(&o)})[0]
		sd += m.weight * math.Sqrt(f.variance*max(0, quad))
		d := f.predict(&o, f.x)
		mean, square = mean+m.weight*d, square+m.weight*d*d
	}
	return sd*sd + max(0, square-mean*mean), true
}

// betweenVariance returns the variance of what the field does not know of, at
// the given distance from a sounding: the miss between lines, which grows from
// nothing on a line to that of a line left out where the next one would be, and
// the errors common to all soundings.
func (b *Bed) betweenVariance(distanceM, depthM float64) float64 {
	miss := b.missM * min(1, distanceM/b.diag.LineSpacingM)
	speed := b.speedSD * depthM
	return miss*miss + b.commonM*b.commonM + speed*speed
}

// known returns the smoothness given for the named model.
func (o Options) known(name string) (ratio float64, ok bool) {
	for _, m := range o.Models {
		if m.Name == name && m.Smoothness > 0 {
			return m.Smoothness, true
		}
	}
	return 0, false
}

// Validate returns a *unit.RangeError for a setting that is negative or not a
// number.
func (o Options) Validate() error {
	for _, s := range []struct {
		name  string
		value float64
	}{
		{"grid spacing (m)", o.SpacingM}, {"outline standard deviation (m)", o.OutlineSDM}, {"position standard deviation (m)", o.PositionSDM}, {"level standard deviation (m)", o.LevelSDM},
		{"draft standard deviation (m)", o.DraftSDM}, {"mud standard deviation (m)", o.MuckSDM}, {"sound speed standard deviation (share)", o.SoundSpeedSD},
	} {
		if err := unit.CheckRange(s.name, s.value, 0, 1e4, ""); err != nil {
			return err
		}
	}
	return nil
}

// Estimate infers the bed under s from soundings. Without any usable sounding it
// returns a guess from the outline with a wide interval and says so in
// Diagnostics. Errors are those of Options.Validate, those of grid.New, and
// ErrCanceled.
func Estimate(s *shore.Shore, soundings []Sounding, opt Options) (*Bed, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	g, err := grid.New(s, grid.Options{SpacingM: opt.SpacingM})
	if err != nil {
		return nil, err
	}
	b := &Bed{grid: g, shore: s, flags: make([][]Flag, len(soundings))}
	e := &estimator{shore: s, soundings: soundings, opt: opt, bed: b}
	if err := e.run(); err != nil {
		return nil, err
	}
	return b, nil
}
