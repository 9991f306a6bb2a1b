//go:build linux || darwin || freebsd

package journal

import "syscall"

// freeBytes returns how much a file system has left for us.
func freeBytes(dir string) (uint64, error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil {
		return 0, err
	}
	return uint64(st.Bavail) * uint64(st.Bsize), nil //nolint:unconvert // types differ between systems
}
