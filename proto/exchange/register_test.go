package exchange

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

const (
	kindMast    protowire.Number = 21
	kindUnknown protowire.Number = 99
)

// body writes a fact's fields in order of number.
func body(fields map[protowire.Number]string) []byte {
	var b []byte
	for _, n := range slices.Sorted(maps.Keys(fields)) {
		b = protowire.AppendString(protowire.AppendTag(b, n, protowire.BytesType), fields[n])
	}
	return b
}

func fieldsOf(t interface{ Fatal(...any) }, b []byte) map[protowire.Number]string {
	out := map[protowire.Number]string{}
	if err := eachField(b, func(n protowire.Number, _ protowire.Type, value, _ []byte) error {
		out[n] = string(value)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// write is what a person did in one version: the fields typed, or the whole thing
// deleted or brought back.
type write struct {
	v      Version
	typed  map[protowire.Number]string
	all    bool
	shadow map[protowire.Number]string // all fields as this version has them
}

// people edit one record on several devices that sync now and then, and remember
// everything they ever wrote.
type people struct {
	kind  protowire.Number
	held  []map[Ref]bool // by device: versions held
	all   map[Ref]*write
	order []Ref
	next  int
}

func (p *people) view(device int) (Merged, bool) {
	var held []Version
	for ref := range p.held[device] {
		held = append(held, p.all[ref].v)
	}
	if len(held) == 0 {
		return Merged{}, false
	}
	got := Resolve(held)
	return got[0], true
}

func (p *people) add(device int, w *write) {
	p.next++
	w.v.Ref = Ref{Log: block.ID{byte(device + 1)}, Seq: uint64(p.next)}
	w.v.ID, w.v.Kind = block.ID{7}, p.kind
	w.v.Body = body(w.shadow)
	p.all[w.v.Ref] = w
	p.order = append(p.order, w.v.Ref)
	p.held[device][w.v.Ref] = true
}

// act lets somebody do something on a device.
func (p *people) act(t *rapid.T) {
	device := rapid.IntRange(0, len(p.held)-1).Draw(t, "device")
	m, exists := p.view(device)
	text := fmt.Sprint("v", p.next)
	field := protowire.Number(rapid.IntRange(1, 3).Draw(t, "field"))
	w := &write{typed: map[protowire.Number]string{field: text}, v: Version{
		Order: Stamp(rapid.Uint64Range(0, 5).Draw(t, "order")), // clocks are of no help
	}}
	if !exists {
		w.shadow = map[protowire.Number]string{field: text}
		p.add(device, w)
		return
	}
	settle := rapid.Bool().Draw(t, "settles")
	var start []byte
	w.v.Parents, start = m.Draft(settle)
	w.shadow = fieldsOf(t, start)
	if settle {
		for _, c := range m.Conflicts {
			if value, shown := w.shadow[c.Field]; c.Field != whole && shown {
				w.typed[c.Field] = value
			} else if c.Field != whole {
				w.typed[c.Field] = ""
			}
		}
	}
	w.v.Deleted = rapid.IntRange(0, 7).Draw(t, "deletes") == 0
	w.all = w.v.Deleted
	for _, parent := range w.v.Parents {
		w.all = w.all || p.all[parent].v.Deleted
	}
	if !w.v.Deleted {
		w.shadow[field] = text
	} else {
		delete(w.typed, field)
	}
	p.add(device, w)
}

func (p *people) sync(t *rapid.T) {
	to := rapid.IntRange(0, len(p.held)-1).Draw(t, "to")
	from := rapid.IntRange(0, len(p.held)-1).Draw(t, "from")
	maps.Copy(p.held[to], p.held[from])
}

// after reports whether b was made knowing of a.
func (p *people) after(a, b Ref) bool {
	for _, parent := range p.all[b].v.Parents {
		if parent == a || p.after(a, parent) {
			return true
		}
	}
	return false
}

// wrote returns what the version did to a field.
func (p *people) wrote(w *write, field protowire.Number) bool {
	if p.kind == kindMast {
		return field == whole
	}
	_, typed := w.typed[field]
	return typed || w.all
}

// current returns, by remembering everything, the writes of a field that nobody
// wrote over.
func (p *people) current(device int, field protowire.Number) []*write {
	var out []*write
	for ref := range p.held[device] {
		if !p.wrote(p.all[ref], field) {
			continue
		}
		over := false
		for other := range p.held[device] {
			over = over || p.wrote(p.all[other], field) && p.after(ref, other)
		}
		if !over {
			out = append(out, p.all[ref])
		}
	}
	return out
}

func (w *write) says(kind, field protowire.Number) string {
	switch {
	case w.v.Deleted:
		return "\x00gone"
	case kind == kindMast:
		return string(w.v.Body)
	}
	return w.shadow[field]
}

// check compares what a device shows with what people remember.
func (p *people) check(t *rapid.T, device int) {
	m, exists := p.view(device)
	if !exists {
		return
	}
	conflicts := map[protowire.Number]Conflict{}
	for _, c := range m.Conflicts {
		conflicts[c.Field] = c
	}
	shown := fieldsOf(t, m.Body)
	var registers []protowire.Number
	for field := protowire.Number(1); field <= 3; field++ {
		for ref := range p.held[device] {
			if _, has := p.all[ref].shadow[field]; has { // else nobody ever said anything of it
				registers = append(registers, field)
				break
			}
		}
	}
	if p.kind == kindMast {
		registers = []protowire.Number{whole}
	}
	alive := false
	for _, field := range registers {
		values := map[string]bool{}
		for _, w := range p.current(device, field) {
			values[w.says(p.kind, field)] = true
			alive = alive || !w.v.Deleted
		}
		c, open := conflicts[field]
		if open != (len(values) > 1) {
			t.Fatalf("field %d: people say %v, conflict shown: %v", field, values, open)
		}
		sides := map[string]bool{}
		for _, s := range c.Sides {
			sides[p.all[s.Version.Ref].says(p.kind, field)] = true
		}
		if open && !maps.Equal(sides, values) {
			t.Fatalf("field %d: people say %v, the conflict shows %v", field, values, sides)
		}
		value := shown[field]
		if p.kind == kindMast {
			value = string(m.Body)
		}
		if len(values) > 0 && !m.Deleted && !values[value] && !values["\x00gone"] {
			t.Fatalf("field %d shows %q, people say %v", field, value, values)
		}
	}
	if alive == m.Deleted {
		t.Fatalf("deleted: %v, but somebody's value stands: %v", m.Deleted, alive)
	}
	if m.Undecided != (p.kind == kindMast && len(m.Conflicts) > 0) {
		t.Fatalf("undecided: %v with %d conflicts", m.Undecided, len(m.Conflicts))
	}
}

// TestInv19_20_21_NothingWrittenIsLost compares the merge with people who remember
// every value they wrote: each is current, was written over by somebody who knew
// it, or is a side of a conflict; a conflict ends only by a version made knowing all
// its sides; and what was changed in ignorance of its deletion stays in sight.
func TestInv19_20_21_NothingWrittenIsLost(t *testing.T) {
	t.Parallel()
	for name, kind := range map[string]protowire.Number{"by field": kindPond, "as a whole": kindMast} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(t *rapid.T) {
				p := &people{kind: kind, all: map[Ref]*write{}, held: []map[Ref]bool{{}, {}, {}}}
				for range rapid.IntRange(1, 14).Draw(t, "steps") {
					if rapid.IntRange(0, 2).Draw(t, "syncs") == 0 {
						p.sync(t)
					} else {
						p.act(t)
					}
				}
				for device := range p.held {
					p.check(t, device)
				}
			})
		})
	}
}

// hostile draws versions that no honest device writes: parents that do not exist,
// that name each other, of another record.
func hostile(t *rapid.T) []Version {
	ref := func(label string) Ref {
		return Ref{block.ID{byte(rapid.IntRange(1, 2).Draw(t, label))}, uint64(rapid.IntRange(1, 5).Draw(t, label))}
	}
	var out []Version
	for range rapid.IntRange(0, 10).Draw(t, "versions") {
		r := ref("ref")
		draw := uint64(r.Log[0])*8 + r.Seq // a Ref always names the same version
		v := Version{Ref: r, ID: block.ID{byte(draw % 2)}, Kind: []protowire.Number{kindPond, kindMast, kindUnknown}[draw%3],
			Order: Stamp(draw * 7 % 4), Deleted: draw%5 == 0,
			Body: body(map[protowire.Number]string{protowire.Number(1 + draw%3): fmt.Sprint(draw % 4)})}
		v.Parents = []Ref{{block.ID{byte(1 + draw%2)}, draw * 3 % 6}, {block.ID{2}, draw % 7}}
		out = append(out, v)
	}
	return out
}

func TestInv18_MergeIsCommutativeAssociativeIdempotent(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := hostile(t), hostile(t), hostile(t)
		same := func(what string, x, y []Version) {
			if diff := cmp.Diff(x, y); diff != "" {
				t.Fatalf("%s:\n%s", what, diff)
			}
			if diff := cmp.Diff(Resolve(x), Resolve(y)); diff != "" {
				t.Fatalf("%s, resolved:\n%s", what, diff)
			}
		}
		same("a+b, b+a", Merge(a, b), Merge(b, a))
		same("(a+b)+c, a+(b+c)", Merge(Merge(a, b), c), Merge(a, Merge(b, c)))
		same("a+a, a", Merge(Merge(a, nil), a), Merge(a, nil))

		all := slices.Concat(a, b, c)
		want := Resolve(all)
		if diff := cmp.Diff(want, Resolve(rapid.Permutation(all).Draw(t, "order"))); diff != "" {
			t.Fatalf("another order of arrival:\n%s", diff)
		}
	})
}

// TestInv27_UnknownFieldsStayBitIdentical lets an old program edit a record of a
// newer one: a message with fields that the program's schema does not have.
func TestInv27_UnknownFieldsStayBitIdentical(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		known, err := proto.MarshalOptions{Deterministic: true}.Marshal(&pb.Pond{Name: "Heron Hollow", Place: rapid.String().Draw(t, "place")})
		if err != nil {
			t.Skip() // a string that is not UTF-8
		}
		var later []byte
		for range rapid.IntRange(1, 6).Draw(t, "fields") {
			n := protowire.Number(rapid.IntRange(1000, 1004).Draw(t, "number"))
			switch rapid.IntRange(0, 3).Draw(t, "type") {
			case 0:
				later = protowire.AppendVarint(protowire.AppendTag(later, n, protowire.VarintType), rapid.Uint64().Draw(t, "v"))
			case 1:
				later = protowire.AppendFixed32(protowire.AppendTag(later, n, protowire.Fixed32Type), rapid.Uint32().Draw(t, "v"))
			case 2:
				later = protowire.AppendFixed64(protowire.AppendTag(later, n, protowire.Fixed64Type), rapid.Uint64().Draw(t, "v"))
			case 3:
				later = protowire.AppendBytes(protowire.AppendTag(later, n, protowire.BytesType), rapid.SliceOf(rapid.Byte()).Draw(t, "v"))
			}
		}
		first := Version{Ref: Ref{block.ID{1}, 1}, ID: block.ID{7}, Kind: kindPond, Body: append(known, later...)}
		parents, start := Resolve([]Version{first})[0].draft()

		pond := &pb.Pond{}
		if err := proto.Unmarshal(start, pond); err != nil {
			t.Fatal(err)
		}
		pond.Name = "Heron Hollow, west"
		edited, err := proto.MarshalOptions{Deterministic: true}.Marshal(pond)
		if err != nil {
			t.Fatal(err)
		}
		second := Version{Ref: Ref{block.ID{2}, 1}, ID: block.ID{7}, Kind: kindPond, Parents: parents, Body: edited}
		m := Resolve([]Version{first, second})[0]
		for field, want := range RuleOf(kindPond).split(&first) {
			got := RuleOf(kindPond).split(&Version{Body: m.Body})[field]
			if (field >= 1000 || field == 2) && !bytes.Equal(got, want) {
				t.Fatalf("field %d was %x and became %x", field, want, got)
			}
		}
		if len(m.Conflicts) > 0 || fieldsOf(t, m.Body)[1] != "Heron Hollow, west" {
			t.Fatalf("merged %+v", m)
		}
	})
}

func (m Merged) draft() ([]Ref, []byte) { return m.Draft(false) }

func TestResolve(t *testing.T) {
	t.Parallel()
	a, b, c := Ref{block.ID{1}, 1}, Ref{block.ID{2}, 1}, Ref{block.ID{3}, 1}
	pond := func(ref Ref, order Stamp, parents []Ref, fields map[protowire.Number]string) Version {
		return Version{Ref: ref, ID: block.ID{7}, Kind: kindPond, Order: order, Parents: parents, Body: body(fields)}
	}
	base := pond(a, 1, nil, map[protowire.Number]string{1: "Heron Hollow", 2: "north"})
	tests := []struct {
		name      string
		versions  []Version
		want      map[protowire.Number]string
		conflicts int
		newest    Ref
	}{
		{"one", []Version{base}, map[protowire.Number]string{1: "Heron Hollow", 2: "north"}, 0, a},
		{"different fields come together", []Version{base,
			pond(b, 3, []Ref{a}, map[protowire.Number]string{1: "Heron Hollow", 2: "south"}),
			pond(c, 2, []Ref{a}, map[protowire.Number]string{1: "Heron", 2: "north"})},
			map[protowire.Number]string{1: "Heron", 2: "south"}, 0, b},
		{"the same field shows the later", []Version{base,
			pond(b, 3, []Ref{a}, map[protowire.Number]string{1: "Heron East", 2: "north"}),
			pond(c, 2, []Ref{a}, map[protowire.Number]string{1: "Heron West", 2: "north"})},
			map[protowire.Number]string{1: "Heron East", 2: "north"}, 1, b},
		{"the same field and stamp shows the later log", []Version{base,
			pond(b, 2, []Ref{a}, map[protowire.Number]string{1: "Heron East", 2: "north"}),
			pond(c, 2, []Ref{a}, map[protowire.Number]string{1: "Heron West", 2: "north"})},
			map[protowire.Number]string{1: "Heron West", 2: "north"}, 1, c},
		{"two who say the same agree", []Version{base,
			pond(b, 3, []Ref{a}, map[protowire.Number]string{1: "Heron East", 2: "north"}),
			pond(c, 2, []Ref{a}, map[protowire.Number]string{1: "Heron East", 2: "north"})},
			map[protowire.Number]string{1: "Heron East", 2: "north"}, 0, b},
		{"two who begin the same pond", []Version{base,
			pond(b, 3, nil, map[protowire.Number]string{1: "Heron Hollow", 3: "R."})},
			map[protowire.Number]string{1: "Heron Hollow", 2: "north", 3: "R."}, 0, b},
		{"a cleared field", []Version{base, pond(b, 3, []Ref{a}, map[protowire.Number]string{1: "Heron Hollow"})},
			map[protowire.Number]string{1: "Heron Hollow"}, 0, b},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := Resolve(tt.versions)
			if len(got) != 1 || len(got[0].Conflicts) != tt.conflicts || got[0].Newest.Ref != tt.newest || got[0].Undecided || got[0].Deleted {
				t.Fatalf("merged %+v", got)
			}
			if diff := cmp.Diff(tt.want, fieldsOf(t, got[0].Body)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// TestRuleOf_EveryKindOfTheSchema makes whoever adds a kind think about its rule.
func TestRuleOf_EveryKindOfTheSchema(t *testing.T) {
	t.Parallel()
	want := map[protoreflect.Name]Rule{
		"pond": {ByField: true}, "visit": {ByField: true}, "photo": {ByField: true},
		"shoreline": {}, "pass": {}, "correction": {}, "plan": {}, "transect": {},
		"mast_site": {NoWinner: true}, "equipment_choice": {NoWinner: true},
		"reading": {}, "service": {}, "as_built": {},
		"profile": {NoWinner: true}, "plan_approval": {NoWinner: true}, "zone": {NoWinner: true},
	}
	kinds := (&pb.Record{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range kinds.Len() {
		f := kinds.Get(i)
		rule, listed := want[f.Name()]
		if !listed || RuleOf(f.Number()) != rule {
			t.Errorf("%s: rule %+v, listed here: %v", f.Name(), RuleOf(f.Number()), listed)
		}
	}
	if !RuleOf(kindUnknown).NoWinner || RuleOf(kindUnknown).ByField {
		t.Error("a kind of a later revision must have no winner")
	}
}

func TestParseVersion(t *testing.T) {
	t.Parallel()
	log := block.ID{4}
	rec := &pb.Record{RecordId: make([]byte, 16), Hlc: 77, Author: "R.", Deleted: true,
		Parents: []*pb.EntryRef{{LogId: log[:], Seq: 9}}, Kind: &pb.Record_MastSite{MastSite: &pb.MastSite{LatDeg: 45}}}
	rec.RecordId[3] = 1
	b, err := proto.Marshal(rec)
	if err != nil {
		t.Fatal(err)
	}
	inside, err := proto.Marshal(rec.GetMastSite())
	if err != nil {
		t.Fatal(err)
	}
	want := Version{Ref: Ref{block.ID{1}, 2}, ID: block.ID{3: 1}, Kind: kindMast, Parents: []Ref{{log, 9}},
		Order: 77, Author: "R.", Deleted: true, Body: inside}
	got, err := ParseVersion(want.Ref, b)
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	for name, bad := range map[string][]byte{
		"nothing": nil, "no kind": b[:18], "cut": b[:len(b)-1], "a long id": protowire.AppendBytes([]byte{0x0a}, make([]byte, 17)),
		"a broken fact": protowire.AppendBytes(protowire.AppendTag(b[:18:18], kindPond, protowire.BytesType), []byte{0x0a}),
	} {
		if _, err := ParseVersion(Ref{}, bad); !errors.Is(err, ErrRecord) {
			t.Errorf("%s: %v, want ErrRecord", name, err)
		}
	}
}

// FuzzRegisterMerge reads records from the input and holds that reading and merging
// never fails badly, and that the order of arrival does not matter.
func FuzzRegisterMerge(f *testing.F) {
	rec := &pb.Record{RecordId: make([]byte, 16), Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: "Low Meadow"}}}
	rec.RecordId[0] = 1
	for _, r := range []*pb.Record{rec, {RecordId: rec.GetRecordId(), Deleted: true, Kind: rec.GetKind(),
		Parents: []*pb.EntryRef{{LogId: rec.GetRecordId(), Seq: 1}}}} {
		b, err := proto.Marshal(r)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b, b)
	}
	f.Fuzz(func(t *testing.T, x, y []byte) {
		var versions []Version
		for i, b := range [][]byte{x, y, x} {
			v, err := ParseVersion(Ref{block.ID{1}, uint64(i)}, b)
			if err != nil {
				if !errors.Is(err, ErrRecord) {
					t.Fatal(err)
				}
				continue
			}
			versions = append(versions, v)
		}
		one := Resolve(versions)
		slices.Reverse(versions)
		if diff := cmp.Diff(one, Resolve(versions)); diff != "" {
			t.Fatal(diff)
		}
		for i := range one {
			one[i].Draft(true)
			one[i].Draft(false)
		}
	})
}
