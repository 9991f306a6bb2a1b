package plan

import "pondwright/calc/unit"

// Task is one step of the boat work, in the order in which to do it.
type Task struct {
	Station  int
	Diffuser int         // index in Plan.Diffusers
	Hose     unit.Meters // to lay
	Ballast  Ballast
	Text     string
}
