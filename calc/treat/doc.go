// Package treat does the arithmetic of pond care: how much of a product a
// volume of water takes, how many fish an area carries, how long a treatment
// lasts, and which months suit which work.
//
// It never chooses a product or a rate. The person who holds the license types
// in the label's figures; Quantity turns them into mass and volume, or refuses:
//
//	q, err := treat.Quantity(dose)
//	var no *treat.Refusal
//	if errors.As(err, &no) { … no.Rule … }
//
// Every result carries Cautions that must be shown with it. Volumes and areas
// come with their doubt, and the low end is used, because a maximum must not be
// passed: the result names the end.
//
// Sources are named at each rule: Watson & Yanong, University of Florida IFAS
// FA008, for copper; Finlayson, American Fisheries Society meeting 2011, for the
// fish toxicant's maximum; state and extension bulletins for stocking.
package treat
