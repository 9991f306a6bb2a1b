// Package joining holds the tests in which devices are let in and out: client and
// server over real TLS on this machine, each with the same clock that the test
// sets.
package joining
