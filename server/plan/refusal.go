package plan

import (
	"errors"

	"pondwright/geo/route"
	"pondwright/geo/survey"
)

// Refused tells an error of the plan that a person can mend as a warning with a
// remedy; it is nil for any other error.
func Refused(err error) *survey.Warning {
	w := &survey.Warning{Field: "mast"}
	var far *route.FarMastError
	var end *route.EndError
	switch {
	case errors.Is(err, route.ErrMastInWater):
		w.Message = route.ErrMastInWater.Error()
		w.Code, w.Remedy = "MAST_IN_WATER", "give a place on dry land; latitude comes first"
	case errors.As(err, &far):
		w.Message = far.Error()
		w.Code, w.Remedy = "MAST_TOO_FAR", "move the mast nearer to the shore, or check its position"
	case errors.As(err, &end):
		w.Message = end.Error()
		w.Code, w.Remedy = "HOSE_UNREACHABLE", "move the mast to open water's shore, or check the outline for slits"
	default:
		return nil
	}
	return w
}
