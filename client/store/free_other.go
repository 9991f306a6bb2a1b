//go:build !(linux || darwin || freebsd)

package store

import "math"

// freeBytes cannot tell on this system: writing finds out.
func freeBytes(string) (uint64, error) { return math.MaxUint64, nil }
