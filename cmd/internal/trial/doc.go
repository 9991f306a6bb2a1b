// Package trial is the proving ground of the bed estimator: ponds whose bed is
// known everywhere, and simulated surveys of them.
//
// The ponds are solids in closed form and pieces of public terrain: a valley is
// dammed along a random line, flooded to a random level, refined, and scaled to
// the size and depth of a farm pond. So the shapes are real, the sizes are not.
// The truth is one piecewise-linear surface, whose area and volume are exact.
//
//	ponds, err := trial.Ponds("testdata", "../../../geo/curve/testdata")
//	soundings := ponds[0].Sound(trial.Survey{Lines: 14, Seed: 1})
//	score, err := ponds[0].Score(soundings, bed.Options{})
//	fmt.Println(score.Error, score.DepthRMSEM, score.Plain.DepthRMSEM)
//
// Everything is seeded: the same call gives the same ponds, surveys and scores.
// The short test runs with the others. The long ones, a quarter of an hour or more,
// write their tables beside this file, with date, machine and commit: how good
// volume, depth and interval are, what advised lines are worth, and how a
// general-purpose gridder does.
//
//	go test -tags trial ./cmd/internal/trial -run TestTable -v -timeout 3h
//	go test -tags trial ./cmd/internal/trial -run TestAdvice -v -timeout 3h
//	.ci/gridder
package trial
