package store

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// dropUnborn removes database files of no length: the program was killed after it had
// made one and before it had given it its size. Nothing was ever in it, and the
// database refuses to open over it.
func dropUnborn(dir string) error {
	for _, kind := range []string{"*.mem", "*.vlog"} {
		files, err := filepath.Glob(filepath.Join(dir, kind))
		if err != nil {
			return err
		}
		for _, path := range files {
			info, err := os.Stat(path)
			if err == nil && info.Size() == 0 {
				err = os.Remove(path)
			}
			if err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
	}
	return nil
}
