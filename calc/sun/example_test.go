package sun_test

import (
	"fmt"
	"time"

	"github.com/golang/geo/s1"
	"github.com/golang/geo/s2"

	"pondwright/calc/sun"
	"pondwright/calc/unit"
)

// A pond in the plains, its light from the nearest station, a panel to the south.
func Example() {
	place := s2.LatLngFromDegrees(35.6, -97.9)
	climate, err := sun.ClimateAt(place, sun.Own{})
	if err != nil {
		fmt.Println(err)
		return
	}
	site := climate.Site(sun.Horizon{})
	summer := sun.Goal{Season: sun.Between(time.April, time.October)}
	tilt, err := site.BestTilt(sun.TowardEquator(site.Lat), summer)
	if err != nil {
		fmt.Println(err)
		return
	}
	panel := sun.Panel{Tilt: tilt, Azimuth: sun.TowardEquator(site.Lat)}
	hours, err := site.RunHours(panel, 400)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(climate.IrradiationFrom)
	fmt.Printf("tilt %.0f°, July %.1f h a day above 400 W/m²\n", tilt.Degrees(), hours[time.July-1].Hours())
	// Output:
	// Oklahoma City Will Rogers World AP, OK, USA, 39 km away (TMY3 723530, typical year)
	// tilt 15°, July 8.0 h a day above 400 W/m²
}

// Due south by the compass.
func ExampleField_Compass() {
	when := time.Date(2026, 7, 2, 0, 0, 0, 0, time.UTC)
	field, err := sun.WMM2025().Field(when, s2.LatLngFromDegrees(35.39, -97.6), 400)
	if err != nil {
		fmt.Println(err)
		return
	}
	south, err := field.Compass(180 * s1.Degree)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("declination %.1f° east: due south reads %.1f° on the compass\n", field.Declination().Degrees(), south.Degrees())
	// Output: declination 3.1° east: due south reads 176.9° on the compass
}

// Panel and battery for a pump that never stops.
func ExampleSite_SizeStorage() {
	climate, err := sun.ClimateAt(s2.LatLngFromDegrees(35.6, -97.9), sun.Own{})
	if err != nil {
		fmt.Println(err)
		return
	}
	panel := sun.Panel{Tilt: 50 * s1.Degree, Azimuth: 180 * s1.Degree}
	size, err := climate.Site(sun.Horizon{}).SizeStorage(panel, sun.StorageNeed{Load: 150, Battery: sun.LithiumIron(), Coldest: unit.Celsius(5)})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f W of panel for %s, %.1f kWh of battery\n", float64(size.Array), size.Worst, float64(size.Battery)/1000)
	// Output: 1321 W of panel for December, 15.9 kWh of battery
}
