// Package crossing tests device and server together: real stores, real streams,
// and a server process that is killed at the worst moments. It holds no code but
// tests, since neither end may import the other.
package crossing
