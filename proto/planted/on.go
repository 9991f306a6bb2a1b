//go:build planted

// Package planted switches on, one at a time, bugs that were put into the code to
// see that the tests and the rehearsal find them.
package planted

import (
	"os"
	"sync"
)

// chosen is read when it is first asked for: what a package reads before its tests
// start is not seen by the cache of test results.
var chosen = sync.OnceValue(func() string { return os.Getenv("PONDWRIGHT_PLANTED") })

// Is reports whether the named bug is switched on.
func Is(name string) bool { return name == chosen() }
