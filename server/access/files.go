package access

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// The files of a registry. FORMAT.md says what lies where.

// read decodes a file and reports whether there is one.
func read(path string, into any) (found bool, err error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if err := json.Unmarshal(data, into); err != nil {
		return false, fmt.Errorf("%s: %w", path, err)
	}
	return true, nil
}

// replace writes a file, taking the place of one that is there.
func replace(path string, value any) error {
	data, err := json.Marshal(value)
	if err != nil {
		return err
	}
	return place(path, data, os.Rename)
}

// create writes a file unless there is one, and reports whether it did.
func create(path string, value any) (made bool, err error) {
	data, err := json.Marshal(value)
	if err != nil {
		return false, err
	}
	return createBytes(path, data)
}

func createBytes(path string, data []byte) (made bool, err error) {
	err = place(path, data, os.Link)
	if errors.Is(err, fs.ErrExist) {
		return false, nil
	}
	return err == nil, err
}

// place writes beside, syncs, and gives the file its name whole.
func place(path string, data []byte, name func(from, to string) error) error {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, ".new-") // readable by its owner alone
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = name(f.Name(), path)
	}
	if gone := os.Remove(f.Name()); gone != nil && !errors.Is(gone, fs.ErrNotExist) {
		err = errors.Join(err, gone)
	}
	if err != nil {
		return err
	}
	return syncDir(dir)
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// makeDir makes a folder that only its owner can look into, and its name durable.
func makeDir(dir string) error {
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return syncDir(filepath.Dir(dir))
}
