package rehearsal

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
)

// scratch makes a folder for one rehearsal: in memory where the system has such a
// place, since thousands of stores are made and thrown away.
func scratch() (string, error) {
	if dir, err := os.MkdirTemp("/dev/shm", "pondsim-"); err == nil {
		return dir, nil
	}
	return os.MkdirTemp("", "pondsim-")
}

// copyFolder copies a folder as it lies on disk at one moment, which is what a
// killed process leaves behind. Names in except are left out. A database that makes
// or drops files meanwhile would be caught in two states, so the copy is made again
// until the files were the same before and after.
func copyFolder(to, from string, except ...string) error {
	for range 100 {
		before, err := inventory(from)
		if err != nil {
			return err
		}
		if err := copyOnce(to, from, except); err != nil {
			return err
		}
		after, err := inventory(from)
		if err != nil {
			return err
		}
		if before == after {
			return nil
		}
		if err := os.RemoveAll(to); err != nil {
			return err
		}
	}
	return fmt.Errorf("copy %s: it does not come to rest", from)
}

// manifestFile lists the files that make up a database.
const manifestFile = "MANIFEST"

// inventory describes which files there are and which count.
func inventory(dir string) (string, error) {
	var b strings.Builder
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		b.WriteString(path + "\n")
		if d.Name() != manifestFile {
			return nil
		}
		text, err := os.ReadFile(path) //nolint:gosec // a folder of our own, which nobody else can enter
		b.Write(text)
		return err
	})
	return b.String(), err
}

func copyOnce(to, from string, except []string) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) { // a database tidied up while we walked
			return nil
		}
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		if slices.Contains(except, rel) {
			return filepath.SkipDir
		}
		if d.IsDir() {
			return os.MkdirAll(filepath.Join(to, rel), 0o700)
		}
		err = copyFile(filepath.Join(to, rel), path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
}

// Ways to seek to the next bytes that are really stored, and to the end of them.
const (
	seekData = 3
	seekHole = 4
)

// copyFile copies what is stored and leaves holes: databases make files far longer
// than what they hold.
func copyFile(to, from string) (err error) {
	src, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, src.Close()) }()
	info, err := src.Stat()
	if err != nil {
		return err
	}
	dst, err := os.OpenFile(to, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, dst.Close()) }()
	if err := dst.Truncate(info.Size()); err != nil {
		return err
	}
	if runtime.GOOS != "linux" { // elsewhere the numbers below mean other things
		_, err := io.Copy(dst, src)
		return err
	}
	for at := int64(0); at < info.Size(); {
		start, err := src.Seek(at, seekData)
		if errors.Is(err, syscall.ENXIO) { // only a hole is left
			return nil
		}
		if err != nil {
			return fmt.Errorf("copy %s: %w", from, err)
		}
		end, err := src.Seek(start, seekHole)
		if err != nil {
			return fmt.Errorf("copy %s: %w", from, err)
		}
		if _, err := io.Copy(io.NewOffsetWriter(dst, start), io.NewSectionReader(src, start, end-start)); err != nil {
			return err
		}
		at = end
	}
	return nil
}
