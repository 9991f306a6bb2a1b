package sun

import (
	"math"

	"pondwright/calc/unit"
)

// Module is a photovoltaic module as its data sheet describes it at 1000 W/m² and
// 25 °C. The zero figures of the three coefficients stand for common crystalline
// silicon; see Settings.
type Module struct {
	Power        unit.Watts   // rated, above 0 to 2000 W
	Open         unit.Volts   // open circuit, 0 to 300 V
	Short        unit.Amperes // short circuit, 0 to 50 A
	NOCT         unit.Kelvin  // cell temperature at 800 W/m², 20 °C and 1 m/s; 0 is 45 °C
	PowerPerK    float64      // relative change of power per kelvin, −0.01 to 0; 0 is −0.0037
	OpenPerK     float64      // relative change of open-circuit voltage per kelvin, −0.01 to 0; 0 is −0.0028
	SeriesLength int          // modules in a string, 1 to 100; 0 is 1
}

const sheetSource = "data sheets of common modules"

// withDefaults fills the zero coefficients and checks the rest.
func (m Module) withDefaults() (Module, error) {
	if m.NOCT == 0 {
		m.NOCT = unit.Celsius(nominalCellC)
	}
	if m.PowerPerK == 0 {
		m.PowerPerK = powerPerK
	}
	if m.OpenPerK == 0 {
		m.OpenPerK = openPerK
	}
	if m.SeriesLength == 0 {
		m.SeriesLength = 1
	}
	for _, err := range []error{
		unit.CheckRange("module power (W)", float64(m.Power), 0, 2000, sheetSource),
		unit.CheckRange("open-circuit voltage (V)", float64(m.Open), 0, 300, sheetSource),
		unit.CheckRange("short-circuit current (A)", float64(m.Short), 0, 50, sheetSource),
		unit.CheckRange("nominal cell temperature (°C)", m.NOCT.Celsius(), 20, 80, sheetSource),
		unit.CheckRange("change of power (1/K)", m.PowerPerK, -0.01, 0, sheetSource),
		unit.CheckRange("change of open-circuit voltage (1/K)", m.OpenPerK, -0.01, 0, sheetSource),
		unit.CheckRange("modules in series", float64(m.SeriesLength), 1, 100, sheetSource),
	} {
		if err != nil {
			return m, err
		}
	}
	return m, nil
}

func checkWeather(air unit.Kelvin, light unit.WattsPerSquareMeter, wind unit.MetersPerSecond) error {
	if err := unit.CheckRange("air temperature (°C)", air.Celsius(), -80, 70, "records on earth"); err != nil {
		return err
	}
	if err := unit.CheckRange("light on the panel (W/m²)", float64(light), 0, 2000, "brighter than any sky"); err != nil {
		return err
	}
	return unit.CheckRange("wind speed (m/s)", float64(wind), 0, 120, "records on earth")
}

// CellTemperature reports how warm the cells run in light and still air, from
// the nominal operating temperature: Ta + (NOCT − 20 °C)/800 · G. It returns a
// *unit.RangeError for a figure outside its limits.
func (m Module) CellTemperature(air unit.Kelvin, light unit.WattsPerSquareMeter) (unit.Kelvin, error) {
	m, err := m.withDefaults()
	if err != nil {
		return 0, err
	}
	if err := checkWeather(air, light, 0); err != nil {
		return 0, err
	}
	return air + unit.Kelvin((m.NOCT.Celsius()-20)/800*float64(light)), nil
}

// CellInWind reports how warm a module runs in light and wind after Faiman,
// Progress in Photovoltaics 16, 2008: Ta + G/(25 + 6.84 v). It returns a
// *unit.RangeError for weather outside records on earth.
func CellInWind(air unit.Kelvin, light unit.WattsPerSquareMeter, wind unit.MetersPerSecond) (unit.Kelvin, error) {
	if err := checkWeather(air, light, wind); err != nil {
		return 0, err
	}
	return air + unit.Kelvin(float64(light)/(25+6.84*float64(wind))), nil
}

// CellInRack reports how warm the back and the cells of a glass module in an open
// rack run, after King, Boyson and Kratochvil, SAND2004-3535: back
// Ta + G exp(−3.47 − 0.0594 v), cells 3 K warmer per 1000 W/m². It returns a
// *unit.RangeError for weather outside records on earth.
func CellInRack(air unit.Kelvin, light unit.WattsPerSquareMeter, wind unit.MetersPerSecond) (back, cell unit.Kelvin, err error) {
	if err := checkWeather(air, light, wind); err != nil {
		return 0, 0, err
	}
	back = air + unit.Kelvin(float64(light)*math.Exp(-3.47-0.0594*float64(wind)))
	return back, back + unit.Kelvin(3*float64(light)/1000), nil
}

// PowerAt reports a module's power in light at a cell temperature,
// P·G/1000·(1 + γ(Tc − 25 °C)), before soiling, mismatch and wiring. It returns a
// *unit.RangeError for a figure outside its limits.
func (m Module) PowerAt(light unit.WattsPerSquareMeter, cell unit.Kelvin) (unit.Watts, error) {
	m, err := m.withDefaults()
	if err != nil {
		return 0, err
	}
	if err := unit.CheckRange("cell temperature (°C)", cell.Celsius(), -80, 120, sheetSource); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("light on the panel (W/m²)", float64(light), 0, 2000, "brighter than any sky"); err != nil {
		return 0, err
	}
	return unit.Watts(math.Max(0, float64(m.Power)*float64(light)/1000*(1+m.PowerPerK*(cell.Celsius()-25)))), nil
}

// ColdVoltage reports the open-circuit voltage of the string at the coldest
// daylight it will see, V·n·(1 + β(T − 25 °C)): what controller, fuses and
// switches must stand. The local electrical code may ask for a table instead of
// the data sheet's coefficient. It returns a *unit.RangeError for a figure
// outside its limits.
func (m Module) ColdVoltage(coldest unit.Kelvin) (unit.Volts, error) {
	m, err := m.withDefaults()
	if err != nil {
		return 0, err
	}
	if err := unit.CheckRange("coldest temperature (°C)", coldest.Celsius(), -80, 40, "records on earth"); err != nil {
		return 0, err
	}
	return unit.Volts(float64(m.Open) * float64(m.SeriesLength) * (1 + m.OpenPerK*(coldest.Celsius()-25))), nil
}

// CodeCurrent is the pair of currents that a source circuit is laid out for.
type CodeCurrent struct {
	Circuit   unit.Amperes // greatest continuous: 1.25 times short circuit
	Conductor unit.Amperes // wire and fuse rating before corrections: 1.25 times that again
	Note      string       // who has the last word
}

// lightBoost and continuousLoad are the two factors of the 1.25 × 1.25 rule: a
// sky brighter than 1000 W/m², and hours on end.
const (
	lightBoost     = 1.25
	continuousLoad = 1.25
)

// CodeNote is the deferral that goes with every current and wire of this package.
const CodeNote = "The local electrical code and a licensed electrician decide wire, fuse and disconnect; the size here only keeps the voltage loss low."

// CurrentFor reports the currents of n equal strings in parallel by the rule of
// NEC 690.8 and 690.9, 1.25 × 1.25 = 1.5625 times short circuit. The second 1.25
// comes before the corrections for heat and bundling; after correction compare
// with the first alone. It returns a *unit.RangeError for strings outside 1 to
// 100 or a module outside its limits.
func (m Module) CurrentFor(strings int) (CodeCurrent, error) {
	m, err := m.withDefaults()
	if err != nil {
		return CodeCurrent{}, err
	}
	if err := unit.CheckRange("strings in parallel", float64(strings), 1, 100, sheetSource); err != nil {
		return CodeCurrent{}, err
	}
	circuit := m.Short * unit.Amperes(strings) * lightBoost
	return CodeCurrent{Circuit: circuit, Conductor: circuit * continuousLoad, Note: CodeNote}, nil
}
