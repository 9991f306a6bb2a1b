package plan

import (
	"errors"
	"fmt"

	"pondwright/calc/sun"
	"pondwright/geo/plan"
	"pondwright/geo/route"
	"pondwright/geo/survey"
)

// Refused tells an error of the plan that a person can mend as a warning with a
// remedy; it is nil for any other error.
func Refused(err error) *survey.Warning {
	w := &survey.Warning{Field: "mast"}
	var far *route.FarMastError
	var end *route.EndError
	var zone *plan.ZoneError
	var onZone *plan.MastZoneError
	var pin *plan.PinError
	switch {
	case errors.Is(err, plan.ErrNoSource):
		w.Field, w.Message = "equipment.power.source", plan.ErrNoSource.Error()
		w.Code, w.Remedy = "SOURCE_UNKNOWN", "name sun, battery, wind or grid"
	case errors.Is(err, sun.ErrNoStation):
		w.Field, w.Message = "equipment.power.climate", sun.ErrNoStation.Error()
		w.Code, w.Remedy = "CLIMATE_UNKNOWN", "give twelve numbers of light, wind and temperature of your own"
	case errors.Is(err, route.ErrMastInWater):
		w.Message = route.ErrMastInWater.Error()
		w.Code, w.Remedy = "MAST_IN_WATER", "give a place on dry land; latitude comes first"
	case errors.As(err, &far):
		w.Message = far.Error()
		w.Code, w.Remedy = "MAST_TOO_FAR", "move the mast nearer to the shore, or check its position"
	case errors.As(err, &zone):
		w.Field, w.Message = fmt.Sprintf("ground.zones[%d]", zone.Zone), zone.Error()
		w.Code, w.Remedy = "ZONE_INVALID", "draw the zone again: an area has three corners or more, and a dam is drawn with its toe"
	case errors.As(err, &onZone):
		w.Message = onZone.Error()
		w.Code, w.Remedy = "MAST_IN_ZONE", "give a place off the dam, its toe and every other zone, inside the property"
		if onZone.Station > 0 {
			w.Field = fmt.Sprintf("more_masts[%d]", onZone.Station-1)
		}
	case errors.As(err, &pin):
		w.Field, w.Message = fmt.Sprintf("diffusers[%d]", pin.Pin), pin.Error()
		w.Code, w.Remedy = "DIFFUSER_UNREACHABLE", "put it into open water that a hose reaches, off zones where nothing may be laid"
	case errors.As(err, &end) && errors.Is(err, route.ErrBarred):
		w.Message = end.Error()
		w.Code, w.Remedy = "TRENCH_BARRED", "give a mast from which a straight trench reaches the shore without crossing the dam, the spillway or another zone"
	case errors.As(err, &end):
		w.Message = end.Error()
		w.Code, w.Remedy = "HOSE_UNREACHABLE", "move the mast to open water's shore, or check the outline for slits"
	default:
		return nil
	}
	return w
}
