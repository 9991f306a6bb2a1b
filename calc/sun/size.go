package sun

import (
	"errors"
	"fmt"
	"math"
	"time"

	"pondwright/calc/unit"
)

// DirectNeed is a pump wired straight to its panel.
type DirectNeed struct {
	Load   unit.Watts   // electrical, running, above 0 to 100 kW
	Hours  unit.Seconds // a day, in every month of the season, above 0 to 24 h
	Season Season
	Share  float64 // of rated power that reaches the pump, 0.1 to 1; 0 is 0.75
}

// DirectSize is a panel for a pump without a battery.
type DirectSize struct {
	Array     unit.Watts               // rated
	Threshold unit.WattsPerSquareMeter // light at which the pump runs
	Hours     [12]unit.Seconds         // a day, by month
	Worst     time.Month               // of the season
}

// checkLoad checks a load and gives the share in use.
func checkLoad(load unit.Watts, share, usual float64) (float64, error) {
	if share == 0 {
		share = usual
	}
	if err := unit.CheckRange("load (W)", float64(load), 1, 1e5, "ponds"); err != nil {
		return 0, err
	}
	return share, unit.CheckRange("share of rated power that reaches the load", share, 0.1, 1, "definition")
}

// DriveThreshold reports the light at which an array carries a load,
// 1000 W/m² · load/(array · share). A share of 0 is 0.75. It returns a
// *unit.RangeError for a load outside 1 W to 100 kW, an array outside 1 W to
// 10 MW or a share outside 0.1 to 1; a threshold above 1500 W/m² means that the
// array never carries the load.
func DriveThreshold(load, array unit.Watts, share float64) (unit.WattsPerSquareMeter, error) {
	share, err := checkLoad(load, share, directShare)
	if err != nil {
		return 0, err
	}
	if err := unit.CheckRange("array (W)", float64(array), 1, 1e7, "ponds"); err != nil {
		return 0, err
	}
	return unit.WattsPerSquareMeter(1000 * float64(load) / (float64(array) * share)), nil
}

// dimmestWM2 is the lowest light for which a directly driven array is offered: a
// larger array buys minutes at dawn.
const dimmestWM2 = 100

// ErrTooDark says that no array gives the hours asked for without a battery.
var ErrTooDark = errors.New("no panel without a battery runs that long")

// SizeDirect reports the smallest array, to the watt, on which a pump runs the
// wanted hours in every month of its season. It returns a *unit.RangeError for a
// need or a site outside its limits; one that also is ErrTooDark where the light
// of the worst month is above 100 W/m² for less than the hours.
func (s Site) SizeDirect(p Panel, n DirectNeed) (DirectSize, error) {
	share, err := checkLoad(n.Load, n.Share, directShare)
	if err != nil {
		return DirectSize{}, err
	}
	most, err := s.RunHours(p, dimmestWM2)
	if err != nil {
		return DirectSize{}, err
	}
	if err := unit.CheckRange("run hours a day (h)", n.Hours.Hours(), 1e-3, 24, "definition"); err != nil {
		return DirectSize{}, err
	}
	limit := most[n.Season.worst(most)-1]
	if err := unit.CheckRange("run hours a day (h)", n.Hours.Hours(), 0, limit.Hours(),
		"hours above 100 W/m² in the worst month of the season"); err != nil {
		return DirectSize{}, fmt.Errorf("%w: %w", ErrTooDark, err)
	}
	arrayAt := func(wM2 float64) float64 { return math.Ceil(1000 * float64(n.Load) / (wM2 * share)) }
	size := DirectSize{}
	low, high := arrayAt(1500), arrayAt(dimmestWM2)
	for low <= high {
		mid := math.Floor((low + high) / 2)
		threshold := math.Min(1500, 1000*float64(n.Load)/(mid*share))
		hours, err := s.RunHours(p, unit.WattsPerSquareMeter(threshold))
		if err != nil {
			return DirectSize{}, err
		}
		worst := n.Season.worst(hours)
		if hours[worst-1] >= n.Hours {
			size = DirectSize{unit.Watts(mid), unit.WattsPerSquareMeter(threshold), hours, worst}
			high = mid - 1
		} else {
			low = mid + 1
		}
	}
	return size, nil
}

// worst is the month of the season with the fewest hours.
func (s Season) worst(hours [12]unit.Seconds) time.Month {
	worst := time.Month(0)
	for m := time.January; m <= time.December; m++ {
		if s.Has(m) && (worst == 0 || hours[m-1] < hours[worst-1]) {
			worst = m
		}
	}
	return worst
}

// Battery is a kind of battery as far as sizing goes.
type Battery struct {
	Name       string
	Depth      float64 // share of the charge that may be drawn, 0.1 to 1
	Efficiency float64 // energy out over energy in, 0.1 to 1
	AtFreezing float64 // share of the charge left at 0 °C, 0.1 to 1; full from 25 °C on, straight between and below
	Freezing   bool    // may be charged below 0 °C
}

// LeadAcid is a deep-cycle lead-acid battery.
func LeadAcid() Battery {
	return Battery{"lead-acid", leadDepth, leadEfficiency, leadAtFreezing, true}
}

// LithiumIron is a lithium iron phosphate battery.
func LithiumIron() Battery {
	return Battery{"lithium iron phosphate", lithiumDepth, lithiumEfficiency, lithiumAtFreezing, false}
}

// StorageNeed is a pump that runs from a battery.
type StorageNeed struct {
	Load    unit.Watts   // electrical, running, 1 W to 100 kW
	Hours   unit.Seconds // a day, above 0 to 24 h; 0 is round the clock
	Season  Season
	Share   float64     // of the panel's light that reaches the load, 0.1 to 1; 0 is 0.6
	Days    float64     // without sun that the battery bridges, 0.1 to 30; 0 is 3
	Battery Battery     // the zero Battery is LeadAcid
	Coldest unit.Kelvin // of the battery, −40 to 50 °C; 0 is 25 °C
	Bank    unit.Volts  // of the battery, 1 to 1000 V; 0 is 24 V
}

// StorageSize is a panel and a battery.
type StorageSize struct {
	Array    unit.Watts // rated
	Worst    time.Month // the month that sets it
	SunHours float64    // of that month, kWh/m² a day on the panel
	Battery  unit.WattHours
	Charge   unit.AmpereHours // the same at the bank's voltage
	Notes    []string         // what the buyer must know
}

// SizeStorage reports the array and the battery that carry a load through the
// worst month of its season: array = daily load / (sun hours · share), battery =
// daily load · days / (depth · efficiency · share left in the cold). A typical
// year holds no worst week, which is what the days are for. It returns a
// *unit.RangeError for a need or a site outside its limits.
func (s Site) SizeStorage(p Panel, n StorageNeed) (StorageSize, error) {
	n, err := n.withDefaults()
	if err != nil {
		return StorageSize{}, err
	}
	months, err := s.Months(p)
	if err != nil {
		return StorageSize{}, err
	}
	worst, least := time.Month(0), math.Inf(1)
	for i, m := range months {
		if n.Season.Has(time.Month(i+1)) && float64(m.Tilted) < least {
			worst, least = time.Month(i+1), float64(m.Tilted)
		}
	}
	dailyWh := float64(n.Load) * n.Hours.Hours()
	batteryWh := dailyWh * n.Days / (n.Battery.Depth * n.Battery.Efficiency * n.Battery.coldShare(n.Coldest))
	return StorageSize{
		Array: unit.Watts(dailyWh / (least / 1000 * n.Share)), Worst: worst, SunHours: least / 1000,
		Battery: unit.WattHours(batteryWh), Charge: unit.AmpereHours(batteryWh / float64(n.Bank)),
		Notes: n.notes(),
	}, nil
}

func (n StorageNeed) withDefaults() (StorageNeed, error) {
	share, err := checkLoad(n.Load, n.Share, storageShare)
	if err != nil {
		return n, err
	}
	n.Share = share
	if n.Hours == 0 {
		n.Hours = unit.Hours(24)
	}
	if n.Days == 0 {
		n.Days = sunlessDays
	}
	if n.Battery == (Battery{}) {
		n.Battery = LeadAcid()
	}
	if n.Coldest == 0 {
		n.Coldest = unit.Celsius(25)
	}
	if n.Bank == 0 {
		n.Bank = bankV
	}
	for _, err := range []error{
		unit.CheckRange("run hours a day (h)", n.Hours.Hours(), 1e-3, 24, "definition"),
		unit.CheckRange("days without sun", n.Days, 0.1, 30, "practice"),
		unit.CheckRange("depth of discharge", n.Battery.Depth, 0.1, 1, "definition"),
		unit.CheckRange("battery efficiency", n.Battery.Efficiency, 0.1, 1, "definition"),
		unit.CheckRange("share of charge at 0 °C", n.Battery.AtFreezing, 0.1, 1, "definition"),
		unit.CheckRange("coldest battery (°C)", n.Coldest.Celsius(), -40, 50, "practice"),
		unit.CheckRange("battery voltage (V)", float64(n.Bank), 1, 1000, "low voltage"),
	} {
		if err != nil {
			return n, err
		}
	}
	return n, nil
}

// coldShare is the share of the charge that a cold battery still gives, not less
// than a tenth.
func (b Battery) coldShare(coldest unit.Kelvin) float64 {
	return clamp(1-(1-b.AtFreezing)*(25-coldest.Celsius())/25, 0.1, 1)
}

func (n StorageNeed) notes() []string {
	notes := []string{
		"Twelve monthly means hold no worst week; the days without sun are the margin.",
		"Fuse the battery at its terminal and house it dry, vented and locked; a short circuit melts tools.",
	}
	if !n.Battery.Freezing {
		notes = append(notes, "Do not charge this battery below 0 °C: it needs a box that stays warm or a controller that stops.")
	}
	return notes
}

// PanelCount reports how many panels of one power make an array. It returns a
// *unit.RangeError for an array outside 0 to 10 MW or a panel outside 1 to
// 2000 W.
func PanelCount(array, panel unit.Watts) (int, error) {
	if err := unit.CheckRange("array (W)", float64(array), 0, 1e7, "ponds"); err != nil {
		return 0, err
	}
	if err := unit.CheckRange("panel power (W)", float64(panel), 1, 2000, sheetSource); err != nil {
		return 0, err
	}
	return int(math.Ceil(float64(array)/float64(panel) - 1e-9)), nil
}
