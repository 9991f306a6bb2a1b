//go:build !planted

// Package planted holds no bugs. With the build tag planted it switches on, one at
// a time, bugs that were put into the code to see that the tests and the rehearsal
// find them; without the tag every switch is a constant and the code behind it is
// gone from the program.
package planted

// Is reports whether the named bug is switched on, which it never is.
func Is(string) bool { return false }
