package exchange

import (
	"bytes"
	"cmp"
	"slices"

	"google.golang.org/protobuf/encoding/protowire"

	"pondwright/proto/block"
)

// A record has versions; each names the versions it replaces. What is current
// follows from the set of versions alone, whatever the order in which they came:
// every field is a register, a version writes it by giving it another value than
// the versions it replaces, and the writes that no later version wrote over are the
// field's heads. Heads that say different things are a conflict, which lasts until
// a version that names them all says otherwise. Nothing is kept but the versions,
// and they are in the journal anyway.

// Ref names one entry of a log.
type Ref struct {
	Log block.ID
	Seq uint64
}

// Compare orders references by log, then by number.
func (r Ref) Compare(o Ref) int {
	return cmp.Or(bytes.Compare(r.Log[:], o.Log[:]), cmp.Compare(r.Seq, o.Seq))
}

// Version is one version of a record. It never changes, and its Ref names it
// alone.
type Version struct {
	Ref
	ID      block.ID         // the thing it is about
	Kind    protowire.Number // number of the fact's field in the message Record
	Parents []Ref            // the versions it replaces
	Order   Stamp            // of two heads the later is shown
	Author  string
	Deleted bool
	Body    []byte // the fact as its writer marshaled it
}

// Conflict is a field of which people say different things.
type Conflict struct {
	Field protowire.Number // 0: the record as a whole
	Sides []Side           // in order of Ref
}

// Side is one side of a conflict.
type Side struct {
	Version *Version
	Value   []byte // of the field: tag and value as marshaled; empty if it was cleared
}

// Merged is what the versions of a record come to.
type Merged struct {
	ID        block.ID
	Kind      protowire.Number
	Body      []byte     // what to show; in a conflict the newer side
	Deleted   bool       // nobody who did not know of the deletion changed it
	Conflicts []Conflict // by field
	Undecided bool       // safety-relevant and in conflict: for people's eyes only, nothing may be worked out from it
	Newest    *Version   // the head shown last in order
	Heads     []Ref      // versions that no other replaces, in order; an edit that names them all settles every conflict
}

// MaxParents is how many versions one may name as replaced.
const MaxParents = 64

// Draft returns what a new version starts from: the versions it names as parents
// and the fact to change, without touching what this revision does not know. Unless
// it settles the record's conflicts it leaves them open: it then goes on from the
// newest side alone.
func (m *Merged) Draft(settles bool) (parents []Ref, body []byte) {
	if len(m.Conflicts) > 0 && !settles {
		return []Ref{m.Newest.Ref}, slices.Clone(m.Newest.Body)
	}
	return slices.Clone(m.Heads[:min(len(m.Heads), MaxParents)]), slices.Clone(m.Body)
}

// Merge returns the union of two sets of versions in order of Ref, each once.
func Merge(a, b []Version) []Version {
	all := slices.Concat(a, b)
	slices.SortStableFunc(all, func(x, y Version) int { return x.Compare(y.Ref) })
	return slices.CompactFunc(all, func(x, y Version) bool { return x.Ref == y.Ref })
}

// Resolve returns what a set of versions comes to: one Merged for each record and
// kind, in order of record and kind. The order of the versions does not matter.
func Resolve(versions []Version) []Merged {
	all := Merge(versions, nil)
	slices.SortStableFunc(all, func(a, b Version) int {
		return cmp.Or(bytes.Compare(a.ID[:], b.ID[:]), cmp.Compare(a.Kind, b.Kind))
	})
	var out []Merged
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].ID == all[0].ID && all[n].Kind == all[0].Kind {
			n++
		}
		out = append(out, newLineage(all[:n:n]).merged())
		all = all[n:]
	}
	return out
}

// lineage is the versions of one record in an order in which parents come before
// their children.
type lineage struct {
	rule     Rule
	versions []Version
	parents  [][]int                       // by version: indexes of the parents held
	leaf     []bool                        // no version names it as a parent
	fields   []map[protowire.Number][]byte // by version
}

// newLineage sorts the versions. Parents that are not held are passed over, and so
// are those of versions that name each other in a circle, which no honest device
// can write.
func newLineage(versions []Version) *lineage {
	at := make(map[Ref]int, len(versions))
	for i := range versions {
		at[versions[i].Ref] = i
	}
	waiting := make([]int, len(versions)) // parents not placed yet
	children := make([][]int, len(versions))
	for i := range versions {
		for _, p := range unique(versions[i].Parents) {
			if from, held := at[p]; held {
				waiting[i]++
				children[from] = append(children[from], i)
			}
		}
	}
	var order []int
	for i, n := range waiting {
		if n == 0 {
			order = append(order, i)
		}
	}
	for done := 0; done < len(order); done++ {
		for _, c := range children[order[done]] {
			if waiting[c]--; waiting[c] == 0 {
				order = append(order, c)
			}
		}
	}
	circular := len(order)
	for i, n := range waiting {
		if n > 0 {
			order = append(order, i)
		}
	}
	l := &lineage{rule: RuleOf(versions[0].Kind)}
	place := make([]int, len(versions))
	for now, i := range order {
		place[i] = now
		l.versions = append(l.versions, versions[i])
		l.leaf = append(l.leaf, true)
		l.fields = append(l.fields, l.rule.split(&versions[i]))
	}
	for now := range l.versions {
		var parents []int
		for _, p := range unique(l.versions[now].Parents) {
			if i, held := at[p]; held && now < circular {
				parents = append(parents, place[i])
				l.leaf[place[i]] = false
			}
		}
		l.parents = append(l.parents, parents)
	}
	return l
}

func unique(refs []Ref) []Ref {
	out := slices.Clone(refs)
	slices.SortFunc(out, Ref.Compare)
	return slices.Compact(out)
}

// whole is the register of the record itself: its existence and, by a Rule that
// says so, all of its fact.
const whole protowire.Number = 0

// heads returns the writes of a register that no later version wrote over.
func (l *lineage) heads(field protowire.Number) []int {
	current := make([][]int, len(l.versions)) // by version: the heads it stands on, or itself
	var ends []int
	for v := range l.versions {
		before := l.latest(l.parents[v], current)
		if l.writes(v, field, before) {
			current[v] = []int{v}
		} else {
			current[v] = before
		}
		if l.leaf[v] {
			ends = append(ends, v)
		}
	}
	heads := slices.Clone(l.latest(ends, current))
	slices.SortFunc(heads, func(a, b int) int { return l.versions[a].Compare(l.versions[b].Ref) })
	return heads
}

// writes reports whether version v gives the field another value than the heads
// before it. Deleting a thing and bringing it back writes all of it.
func (l *lineage) writes(v int, field protowire.Number, before []int) bool {
	for _, p := range l.parents[v] {
		if l.versions[p].Deleted {
			return true
		}
	}
	value, has := l.fields[v][field]
	switch {
	case l.versions[v].Deleted:
		return true
	case len(before) == 0:
		return has // who begins a record says nothing of the fields left empty
	case len(before) > 1:
		return true
	}
	return !bytes.Equal(value, l.fields[before[0]][field])
}

// latest returns the heads of several versions together, without those that
// another of them was written over.
func (l *lineage) latest(versions []int, current [][]int) []int {
	if len(versions) == 1 {
		return current[versions[0]]
	}
	var all []int
	for _, v := range versions {
		all = append(all, current[v]...)
	}
	slices.Sort(all)
	all = slices.Compact(all)
	if len(all) < 2 {
		return all
	}
	old := l.ancestors(all)
	return slices.DeleteFunc(all, func(v int) bool { return old[v] })
}

// ancestors returns what comes before any of the versions, back to the first of
// them.
func (l *lineage) ancestors(versions []int) map[int]bool {
	seen := map[int]bool{}
	first := versions[0] // sorted
	todo := slices.Clone(versions)
	for len(todo) > 0 {
		v := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, p := range l.parents[v] {
			if p >= first && !seen[p] {
				seen[p] = true
				todo = append(todo, p)
			}
		}
	}
	return seen
}

// merged works out every register.
func (l *lineage) merged() Merged {
	m := Merged{ID: l.versions[0].ID, Kind: l.versions[0].Kind, Deleted: true}
	for v, leaf := range l.leaf {
		if leaf {
			m.Heads = append(m.Heads, l.versions[v].Ref)
		}
	}
	slices.SortFunc(m.Heads, Ref.Compare)
	for _, field := range l.registers() {
		heads := l.heads(field)
		if len(heads) == 0 {
			continue
		}
		shown := l.shown(heads)
		m.Body = append(m.Body, l.fields[shown][field]...)
		m.Deleted = m.Deleted && l.versions[shown].Deleted
		if m.Newest == nil || l.versions[shown].later(m.Newest) {
			m.Newest = &l.versions[shown]
		}
		if c, differ := l.conflict(field, heads); differ {
			m.Conflicts = append(m.Conflicts, c)
		}
	}
	m.Undecided = l.rule.NoWinner && len(m.Conflicts) > 0
	return m
}

// registers returns the numbers of all fields, ascending, after that of the whole.
func (l *lineage) registers() []protowire.Number {
	var all []protowire.Number
	for _, fields := range l.fields {
		for field := range fields {
			all = append(all, field)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// shown returns the latest head that is not a deletion, or the latest deletion.
func (l *lineage) shown(heads []int) int {
	best := heads[0]
	for _, h := range heads[1:] {
		a, b := &l.versions[h], &l.versions[best]
		if a.Deleted != b.Deleted && b.Deleted || a.Deleted == b.Deleted && a.later(b) {
			best = h
		}
	}
	return best
}

func (v *Version) later(o *Version) bool {
	return v.Order > o.Order || v.Order == o.Order && v.Compare(o.Ref) > 0
}

// conflict reports whether the heads of a field say different things.
func (l *lineage) conflict(field protowire.Number, heads []int) (Conflict, bool) {
	c := Conflict{Field: field}
	differ := false
	first := heads[0]
	for _, h := range heads {
		gone := l.versions[h].Deleted
		value := l.fields[h][field]
		differ = differ || gone != l.versions[first].Deleted || !gone && !bytes.Equal(value, l.fields[first][field])
		c.Sides = append(c.Sides, Side{Version: &l.versions[h], Value: value})
	}
	return c, differ
}
