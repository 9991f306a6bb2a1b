package wind

import (
	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// Grid is the mains at a distance from the pump.
type Grid struct {
	Length      unit.Meters // of the cable, one way, 0 to 10 km
	Volts       unit.Volts  // single phase, 24 to 1000 V; 0 is 120 V
	PowerFactor float64     // of the motor, 0.3 to 1; 0 is 0.7
	Loss        float64     // allowed share of the voltage, 0.001 to 0.2; 0 is 3 %
	Cover       unit.Meters // over the buried cable, 0.1 to 2 m; 0 is 0.6 m
	Width       unit.Meters // of the trench, 0.05 to 2 m; 0 is 0.15 m
}

// Cable is what the mains at a distance take.
type Cable struct {
	Current unit.Amperes // running
	Gauge   sun.Gauge    // lightest wire within the allowed loss
	Loss    sun.WireLoss
	Trench  unit.Meters      // to dig
	Cover   unit.Meters      // over the cable
	Soil    unit.CubicMeters // to move
	Notes   []string
}

func (g Grid) withDefaults() (Grid, error) {
	if g.Volts == 0 {
		g.Volts = mainsV
	}
	if g.PowerFactor == 0 {
		g.PowerFactor = powerFactor
	}
	if g.Loss == 0 {
		g.Loss = cableLoss
	}
	if g.Cover == 0 {
		g.Cover = trenchCoverM
	}
	if g.Width == 0 {
		g.Width = trenchWidthM
	}
	for _, err := range []error{
		unit.CheckRange("cable length (m)", float64(g.Length), 0, 1e4, "low-voltage cable"),
		unit.CheckRange("mains voltage (V)", float64(g.Volts), 24, 1000, "low-voltage cable"),
		unit.CheckRange("power factor", g.PowerFactor, 0.3, 1, "small motors"),
		unit.CheckRange("cover (m)", float64(g.Cover), 0.1, 2, "NEC table 300.5 and trenches dug by hand"),
		unit.CheckRange("trench width (m)", float64(g.Width), 0.05, 2, "trenches dug by hand or machine"),
	} {
		if err != nil {
			return g, err
		}
	}
	return g, nil
}

// Size reports the wire and the trench that bring a load to the pump. The motor
// draws load/(volts · power factor); the loss is 2·L·I·R, which leaves out the
// reactance, small beside the resistance of wires up to 1/0. It returns a
// *unit.RangeError for a load outside 1 W to 100 kW or a grid outside its limits,
// and sun.ErrNoGauge where no wire of the table will do.
func (g Grid) Size(load unit.Watts) (Cable, error) {
	g, err := g.withDefaults()
	if err != nil {
		return Cable{}, err
	}
	if err := unit.CheckRange("load (W)", float64(load), 1, 1e5, "ponds"); err != nil {
		return Cable{}, err
	}
	amps := unit.Amperes(float64(load) / (float64(g.Volts) * g.PowerFactor))
	gauge, loss, err := sun.Circuit{Length: g.Length, Current: amps, Source: g.Volts}.Size(g.Loss)
	if err != nil {
		return Cable{}, err
	}
	return Cable{
		Current: amps, Gauge: gauge, Loss: loss, Trench: g.Length, Cover: g.Cover,
		Soil: unit.CubicMeters(float64(g.Length) * float64(g.Cover) * float64(g.Width)),
		Notes: []string{
			sun.CodeNote,
			"Have buried lines marked before digging; lay warning tape above the cable.",
			"A motor draws several times its running current while it starts; ask its sheet and check the loss again.",
			"Ground-fault protection and a disconnect in sight of the pump are for the electrician to place.",
		},
	}, nil
}
