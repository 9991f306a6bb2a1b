// Package rehearsal plays days on the water that nobody wants to live through: a
// server, a few devices, and every fault that can come between them, drawn from a
// seed. Client and server are the real ones, in every third rehearsal with TLS and
// enrolled devices; the link, the clocks and what a crash leaves on disk belong to the
// rehearsal.
//
//	script := rehearsal.Generate(seed, 40)
//	found, tally, err := rehearsal.Play(ctx, script) // found is nil if every promise held
//	script, found = rehearsal.Shrink(ctx, script, found)
//	err = rehearsal.Save(path, script)
//
// One step is played at a time, and after each the promises are checked by name.
// A seed fixes every draw: steps, ids, contents, clocks, where a fault strikes.
// The order in which goroutines of one step run is the machine's, so a failure
// that hangs on it may need more than one playing.
package rehearsal
