// Package sun answers what sunlight can do for a pump at a place: where the sun
// stands, how much light falls on a tilted panel, how many hours a day a pump
// runs on it, how large panel, battery and wire must be, and which compass
// reading is due south.
//
// It is not a simulation of a particular year. Twelve monthly means stand for
// the climate; the days within a month are spread by the measured distribution
// of clearness, because the average day hides the dull ones: a pump that needs
// 600 W/m² never runs on an average winter day, and runs almost three hours on
// the bright ones.
//
// The usual sequence:
//
//	climate, err := sun.ClimateAt(place, sun.Own{})       // or your own twelve numbers
//	site := climate.Site(horizon)
//	panel := sun.Panel{Tilt: 35 * s1.Degree, Azimuth: 180 * s1.Degree}
//	months, err := site.Months(panel)                     // energy on the panel
//	hours, err := site.RunHours(panel, 400)               // hours a day above 400 W/m²
//	size, err := site.SizeStorage(panel, sun.StorageNeed{Load: 150}) // round the clock
//
// Bearings are true, clockwise from north, unless the name says magnetic; tilt
// is from level. Panels face any way in either hemisphere. Light is in W/m² and
// Wh/m². The maths follows Meeus, Astronomical Algorithms (sun position), Duffie
// and Beckman, Solar Engineering of Thermal Processes (daily and monthly
// methods), Perez et al. 1990 (hourly sky) and the WMM2025 report (magnetism);
// each function names its source.
package sun
