package plan

import "pondwright/geo/site"

// Patches cuts the input's water for the search of sites.
func (in Input) Patches() []site.Cell { return patches(in.bedOf(), in.Shore.Crosses) }
