package plan

import (
	"fmt"

	"pondwright/calc/air"
	"pondwright/calc/unit"
)

// Equipment is what the air is made and carried with.
type Equipment struct {
	Label      string // what the owner calls the compressor; may be empty
	Compressor air.Curve
	Machines   int // side by side, 1 to MaxMachines
	// OtherKinds of compressor are owned too, at most MaxKinds - 1. A plan takes one kind
	// and never mixes them. Empty: there is no choice.
	OtherKinds []Kind
	Diffuser   air.Diffuser
	Fouling    float64     // by what a diffuser's loss grows in service, 1 (clean) to 10
	DiscRadius unit.Meters // of a diffuser; the promised lift does not rest on it
	OffBottom  unit.Meters // of a diffuser's outlet above the bed, 0 to 1 m
	Bore       unit.Meters // inside diameter of every hose, 2 to 200 mm

	// Hoses are the kinds that may be laid; each run gets the narrowest that serves.
	// Empty: Bore is the only one. Else Bore is ignored.
	Hoses []HoseKind
	// Coils are on hand. Empty: hose is bought in coils of usual lengths.
	Coils   []Coil
	Sharing Sharing

	// What nobody chose: the plan lists it and is not for construction.
	CompressorDefault, DiffuserDefault, HoseDefault bool
}

// MaxMachines is how many compressors of a kind a plan may set side by side.
const MaxMachines = 60

// DefaultEquipment is a generic set for a plan before anything is bought. Every
// figure is of usual size and nobody's in particular: judgement, no source. The bore is that
// of the nominal half-inch of ASTM D2239, from memory.
func DefaultEquipment() Equipment {
	var points []air.CurvePoint
	for _, p := range []struct{ psi, scfm float64 }{
		{0, 5.0}, {5, 4.5}, {10, 4.0}, {15, 3.4}, {20, 2.7}, {25, 1.8},
	} {
		points = append(points, air.CurvePoint{Gauge: unit.PSIG(p.psi), Air: unit.SCFM(p.scfm)})
	}
	curve, err := air.NewCurve(points, 0)
	if err != nil {
		panic(fmt.Sprintf("plan: the default compressor curve is no curve: %v", err)) //nolint:forbidigo // the table above, not input
	}
	return Equipment{
		Compressor: curve,
		Machines:   1,
		Diffuser:   air.LinearDiffuser(unit.PSIG(0.25), unit.PSIG(0.12)),
		Fouling:    2,
		DiscRadius: 0.115,
		OffBottom:  0.3,
		Bore:       0.01580,

		CompressorDefault: true, DiffuserDefault: true, HoseDefault: true,
	}
}

// check returns a *unit.RangeError, or air.ErrTooFewPoints for a compressor
// without a curve.
func (e Equipment) check() error {
	if err := unit.CheckRange("kinds of compressor", float64(1+len(e.OtherKinds)), 1, MaxKinds, "this project's own limit"); err != nil {
		return fmt.Errorf("equipment: %w", err)
	}
	for _, one := range e.each() {
		if err := one.checkOne(); err != nil {
			return err
		}
	}
	return nil
}

// checkOne checks the equipment with its first kind of compressor.
func (e Equipment) checkOne() error {
	if e.Compressor.IsZero() {
		return fmt.Errorf("equipment: %w", air.ErrTooFewPoints)
	}
	for _, c := range []struct {
		quantity    string
		got, lo, hi float64
	}{
		{"compressors side by side", float64(e.Machines), 1, MaxMachines},
		{"fouling factor", e.Fouling, 1, 10},
		{"height of the diffuser off the bottom (m)", float64(e.OffBottom), 0, 1},
		{"hose bore (m)", float64(e.widest()), 0.002, 0.2},
	} {
		if err := unit.CheckRange(c.quantity, c.got, c.lo, c.hi, "equipment of a pond"); err != nil {
			return fmt.Errorf("equipment: %w", err)
		}
	}
	return nil
}

// freeAir is what one machine delivers against no pressure at sea level.
func (e Equipment) freeAir() unit.StdCubicMetersPerSecond {
	q, err := e.Compressor.Air(0, air.Site{Pressure: unit.StandardPressure})
	if err != nil {
		return 0
	}
	return q
}

// kinds are the hoses that may be laid.
func (e Equipment) kinds() []HoseKind {
	if len(e.Hoses) == 0 {
		return []HoseKind{{Bore: e.Bore}}
	}
	return e.Hoses
}

// widest returns the widest bore that may be laid.
func (e Equipment) widest() unit.Meters {
	var widest unit.Meters
	for _, h := range e.kinds() {
		widest = max(widest, h.Bore)
	}
	return widest
}
