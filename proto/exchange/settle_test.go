package exchange

import (
	"errors"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"pgregory.net/rapid"

	"pondwright/proto/block"
)

// TestPick_SettlesAsPicked: whatever people wrote without knowing of each other, a
// version that takes one side in each conflict and names all heads leaves none, says
// what was picked, and leaves all else as it was.
func TestPick_SettlesAsPicked(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom([]protowire.Number{kindPond, kindMast, kindShoreline}).Draw(t, "kind")
		start := Version{Ref: Ref{block.ID{1}, 1}, ID: block.ID{7}, Kind: kind, Body: body(map[protowire.Number]string{1: "a", 2: "b", 3: "c"})}
		versions := []Version{start}
		for i := range rapid.IntRange(2, 4).Draw(t, "writers") {
			fields := map[protowire.Number]string{1: "a", 2: "b", 3: "c"}
			for _, n := range []protowire.Number{1, 2} {
				if s := rapid.SampledFrom([]string{"", "a", "x", "y"}).Draw(t, "value"); s != "" {
					fields[n] = s
				} else {
					delete(fields, n)
				}
			}
			versions = append(versions, Version{Ref: Ref{block.ID{byte(2 + i)}, 1}, ID: start.ID, Kind: kind, Parents: []Ref{start.Ref},
				Order: Stamp(i), Deleted: rapid.IntRange(0, 4).Draw(t, "deletes") == 0, Body: body(fields)})
		}
		before := Resolve(versions)[0]
		sides := make([]int, len(before.Conflicts))
		for i, c := range before.Conflicts {
			sides[i] = rapid.IntRange(0, len(c.Sides)-1).Draw(t, "side")
		}
		body, deleted, err := before.Pick(sides)
		if err != nil {
			t.Fatal(err)
		}
		parents, _ := before.Draft(true)
		after := Resolve(append(versions, Version{Ref: Ref{block.ID{9}, 1}, ID: start.ID, Kind: kind, Parents: parents, Order: 9, Deleted: deleted, Body: body}))[0]
		if len(after.Conflicts) != 0 {
			t.Fatalf("still in conflict: %+v", after.Conflicts)
		}
		gone := false
		got, shown := fieldsOf(t, after.Body), fieldsOf(t, before.Body)
		for i, c := range before.Conflicts {
			side := c.Sides[sides[i]]
			gone = gone || side.Version.Deleted && c.Field == whole
			want := shown
			if c.Field != whole {
				if value := fieldsOf(t, side.Value)[c.Field]; got[c.Field] != value {
					t.Fatalf("field %d is %q, picked %q", c.Field, got[c.Field], value)
				}
				continue
			}
			if kind != kindPond && !side.Version.Deleted {
				want = fieldsOf(t, side.Value)
			}
			if kind != kindPond && !side.Version.Deleted && got[1]+got[2] != want[1]+want[2] {
				t.Fatalf("fact is %v, picked %v", got, want)
			}
		}
		if after.Deleted != gone && len(before.Conflicts) > 0 {
			t.Fatalf("deleted is %v, picked %v", after.Deleted, gone)
		}
		if got[3] != shown[3] {
			t.Fatalf("what nobody disputes became %q", got[3])
		}
		if len(sides) > 0 {
			sides[0] = len(before.Conflicts[0].Sides)
			if _, _, err := before.Pick(sides); !errors.Is(err, ErrPick) {
				t.Fatalf("a side that is not there: %v", err)
			}
			if _, _, err := before.Pick(nil); !errors.Is(err, ErrPick) {
				t.Fatalf("nothing picked: %v", err)
			}
		}
	})
}
