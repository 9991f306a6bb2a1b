package sun

import (
	"errors"
	"fmt"
	"math"

	"pondwright/calc/unit"
)

// ErrNoGauge says that even the heaviest wire of the table loses more than
// allowed: raise the voltage, shorten the run or split the load.
var ErrNoGauge = errors.New("no wire of the table is heavy enough")

// Gauge is a wire size.
type Gauge struct {
	Name         string  // "10 AWG"
	OhmsPerMeter float64 // one conductor at 75 °C
}

const ohmsPerKilofoot = 1 / 304.8 // one ohm per thousand feet, in Ω/m

// gauges is the direct-current resistance of uncoated stranded copper at 75 °C,
// NEC chapter 9, table 8, lightest first.
var gauges = [...]Gauge{
	{"18 AWG", 7.95 * ohmsPerKilofoot}, {"16 AWG", 4.99 * ohmsPerKilofoot},
	{"14 AWG", 3.14 * ohmsPerKilofoot}, {"12 AWG", 1.98 * ohmsPerKilofoot},
	{"10 AWG", 1.24 * ohmsPerKilofoot}, {"8 AWG", 0.778 * ohmsPerKilofoot},
	{"6 AWG", 0.491 * ohmsPerKilofoot}, {"4 AWG", 0.308 * ohmsPerKilofoot},
	{"2 AWG", 0.194 * ohmsPerKilofoot}, {"1/0 AWG", 0.122 * ohmsPerKilofoot},
}

// Gauges lists the wires of the table, lightest first.
func Gauges() []Gauge { return append([]Gauge(nil), gauges[:]...) }

// copperPerK is the change of copper's resistance per kelvin about 75 °C, NEC
// chapter 9, table 8, note 2.
const copperPerK = 0.00323

// Circuit is a pair of wires between a source and a load.
type Circuit struct {
	Length  unit.Meters  // one way, 0 to 10 km
	Current unit.Amperes // 0 to 1000 A
	Source  unit.Volts   // at the source, 1 to 1000 V
	Wire    unit.Kelvin  // temperature of the copper, −40 to 90 °C; 0 is 75 °C, the safe end
}

// WireLoss is what a pair of wires takes.
type WireLoss struct {
	Drop  unit.Volts // there and back
	Share float64    // of the source voltage; above 1 the load gets nothing
	Power unit.Watts // turned to heat
}

func (c Circuit) check() error {
	if c.Wire != 0 {
		if err := unit.CheckRange("wire temperature (°C)", c.Wire.Celsius(), -40, 90, "NEC chapter 9, table 8, note 2"); err != nil {
			return err
		}
	}
	for _, err := range []error{
		unit.CheckRange("one-way length (m)", float64(c.Length), 0, 1e4, "low-voltage cable"),
		unit.CheckRange("current (A)", float64(c.Current), 0, 1000, "low-voltage cable"),
		unit.CheckRange("source voltage (V)", float64(c.Source), 1, 1000, "low-voltage cable"),
	} {
		if err != nil {
			return err
		}
	}
	return nil
}

// Loss reports what a pair of wires of a gauge takes: 2·L·I·R(T), direct current
// or, at these sizes, alternating current at unity power factor. It returns a
// *unit.RangeError for a circuit outside its limits or a gauge outside 0.05 to
// 50 Ω per kilometer.
func (c Circuit) Loss(g Gauge) (WireLoss, error) {
	if err := c.check(); err != nil {
		return WireLoss{}, err
	}
	if err := unit.CheckRange("wire resistance (Ω/m)", g.OhmsPerMeter, 5e-5, 0.05, "NEC chapter 9, table 8"); err != nil {
		return WireLoss{}, err
	}
	return c.loss(g), nil
}

func (c Circuit) loss(g Gauge) WireLoss {
	warmerK := 0.0
	if c.Wire != 0 {
		warmerK = c.Wire.Celsius() - 75
	}
	ohms := 2 * float64(c.Length) * g.OhmsPerMeter * (1 + copperPerK*warmerK)
	drop := ohms * float64(c.Current)
	return WireLoss{
		Drop:  unit.Volts(drop),
		Share: drop / float64(c.Source),
		Power: unit.Watts(drop * float64(c.Current)),
	}
}

// Size reports the lightest wire that loses no more than a share of the source
// voltage, 0.001 to 0.2; a share of 0 is 3 %, the usual aim for a motor. The size
// is for voltage loss only: see CodeNote. It returns a *unit.RangeError for a
// circuit or a share outside its limits and ErrNoGauge where the table ends.
func (c Circuit) Size(share float64) (Gauge, WireLoss, error) {
	if share == 0 {
		share = motorLossShare
	}
	if err := c.check(); err != nil {
		return Gauge{}, WireLoss{}, err
	}
	if err := unit.CheckRange("allowed loss", share, 0.001, 0.2, "beyond it the load does not start"); err != nil {
		return Gauge{}, WireLoss{}, err
	}
	least := math.Inf(1)
	for _, g := range gauges {
		loss := c.loss(g)
		if loss.Share <= share {
			return g, loss, nil
		}
		least = math.Min(least, loss.Share)
	}
	return Gauge{}, WireLoss{}, fmt.Errorf("%w: %s loses %.1f %%, allowed %.1f %%",
		ErrNoGauge, gauges[len(gauges)-1].Name, 100*least, 100*share)
}
