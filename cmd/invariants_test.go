package cmd_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// promises is how many invariants syncing keeps: see DEVELOPERS.md.
const promises = 33

// TestInvariants_EachHasATest walks the names of all tests: a test of invariant 7 is
// called TestInv07_… , and one may stand for several.
func TestInvariants_EachHasATest(t *testing.T) {
	t.Parallel()
	named := regexp.MustCompile(`(?m)^func TestInv((?:\d\d_)+)`)
	tests := map[int]int{}
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, m := range named.FindAllStringSubmatch(string(text), -1) {
			for number := range strings.SplitSeq(strings.TrimSuffix(m[1], "_"), "_") {
				n, err := strconv.Atoi(number)
				if err != nil || n < 1 || n > promises {
					t.Errorf("%s: there is no invariant %s", path, number)
				}
				tests[n]++
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n <= promises; n++ {
		if tests[n] == 0 {
			t.Errorf("no test bears the name of invariant %02d", n)
		}
	}
}
