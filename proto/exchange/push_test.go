package exchange

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pondwright/proto/block"
)

// seal makes a small block that continues head and holds the text.
func seal(t interface{ Fatal(...any) }, head Head, text string, n int) *block.Block {
	records := make([][]byte, n)
	for i := range records {
		records[i] = []byte(text)
	}
	frame, _, err := block.Seal(block.Header{
		Log: head.Log, Pond: block.ID{1}, FirstSeq: head.Last + 1, Prev: head.Hash,
	}, block.Payload{Records: records}, block.Plain)
	if err != nil {
		t.Fatal(err)
	}
	b, err := block.Parse(frame)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// device is a model of what a device holds.
type device struct {
	logs map[block.ID][]*block.Block
	open block.ID // the log that grows
	made int      // logs made, for new ids
	name byte

	durable map[block.ID]uint64 // as acknowledged last
}

func newDevice(name byte) *device {
	d := &device{name: name, logs: map[block.ID][]*block.Block{}, durable: map[block.ID]uint64{}}
	d.newLog()
	return d
}

func (d *device) newLog() {
	d.made++
	d.open = block.ID{0xd0, d.name, byte(d.made)}
}

func (d *device) heads() []Head {
	var out []Head
	for _, blocks := range d.logs {
		out = append(out, After(blocks[len(blocks)-1]))
	}
	slices.SortFunc(out, func(a, b Head) int { return slices.Compare(a.Log[:], b.Log[:]) })
	return out
}

func (d *device) hashAt(log block.ID, last uint64) (block.Hash, bool) {
	return hashAt(d.logs[log], last)
}

func hashAt(blocks []*block.Block, last uint64) (block.Hash, bool) {
	for _, b := range blocks {
		if b.LastSeq() == last {
			return b.Hash, true
		}
	}
	return block.Hash{}, false
}

func startingAt(blocks []*block.Block, first uint64) *block.Block {
	for _, b := range blocks {
		if b.FirstSeq == first {
			return b
		}
	}
	return nil
}

func headOf(log block.ID, blocks []*block.Block) Head {
	if len(blocks) == 0 {
		return Head{Log: log}
	}
	return After(blocks[len(blocks)-1])
}

// shore is a model of a server: what is synced, what is only written, and what
// was kept aside.
type shore struct {
	synced  map[block.ID][]*block.Block
	written map[block.ID][]*block.Block // synced and not yet synced
	aside   map[block.Hash]*block.Block
	writes  int
}

func newShore() *shore {
	return &shore{map[block.ID][]*block.Block{}, map[block.ID][]*block.Block{}, map[block.Hash]*block.Block{}, 0}
}

func (s *shore) sync() {
	for log, blocks := range s.written {
		s.synced[log] = slices.Clone(blocks)
	}
}

func (s *shore) crash() {
	s.written = map[block.ID][]*block.Block{}
	for log, blocks := range s.synced {
		s.written[log] = slices.Clone(blocks)
	}
}

func (s *shore) take(b *block.Block) Verdict {
	held := s.written[b.Log]
	v := Judge(headOf(b.Log, held), b, func(first uint64) (block.Hash, bool) {
		if old := startingAt(held, first); old != nil {
			return old.Hash, true
		}
		return block.Hash{}, false
	})
	switch v {
	case Append:
		s.written[b.Log] = append(held, b)
		s.writes++
	case Forked:
		s.aside[b.Hash] = b
	case Duplicate, Gap:
	}
	return v
}

// session is one connection: two queues that a cut empties.
type session struct {
	dev      *device
	sender   *Sender
	receiver *Receiver
	up       []*block.Block
	down     []func() error      // acks and nacks on their way
	owed     map[block.ID]uint64 // written, not yet acknowledged
}

// connect greets. With ahead, blocks go out before the answer: after what was
// acknowledged, or after a block that may not be held.
func connect(t interface{ Fatal(...any) }, d *device, s *shore, ahead, wrong bool) *session {
	heads := d.heads()
	sn := &session{dev: d, sender: NewSender(heads), receiver: NewReceiver(heads), owed: map[block.ID]uint64{}}
	for _, h := range heads {
		switch blocks := d.logs[h.Log]; {
		case ahead && wrong:
			sn.sender.Assume(h.Log, blocks[len(blocks)/2].LastSeq())
		case ahead:
			sn.sender.Assume(h.Log, d.durable[h.Log])
		}
	}
	for sn.send() {
	}
	var answers []Resume
	for _, h := range heads {
		held := s.synced[h.Log]
		answers = append(answers, Answer(h, headOf(h.Log, held), func(last uint64) (block.Hash, bool) { return hashAt(held, last) }))
	}
	err := sn.sender.Welcome(answers, Window{3, 600}, d.hashAt)
	if errors.Is(err, ErrAssumed) && ahead {
		return connect(t, d, s, false, false)
	}
	if err != nil {
		t.Fatal(err)
	}
	return sn
}

func (sn *session) send() bool {
	log, first, ok := sn.sender.Next()
	if !ok {
		return false
	}
	b := startingAt(sn.dev.logs[log], first)
	if b == nil || !sn.sender.Fits(len(b.Frame)) {
		return false
	}
	sn.sender.Sent(log, b.LastSeq(), len(b.Frame))
	sn.up = append(sn.up, b)
	return true
}

func (sn *session) arrive(s *shore) bool {
	if len(sn.up) == 0 {
		return false
	}
	b := sn.up[0]
	sn.up = sn.up[1:]
	if !sn.receiver.Offered(b.Log) {
		panic("sender sent a log that it did not offer")
	}
	switch v := s.take(b); v {
	case Append, Duplicate:
		sn.owed[b.Log] = max(sn.owed[b.Log], b.LastSeq())
	default:
		if sn.receiver.Refuse(b.Log) {
			sn.down = append(sn.down, func() error { return sn.sender.Nack(b.Log, v == Forked, v.String()) })
		}
	}
	return true
}

func (sn *session) acks() {
	for log, through := range sn.owed {
		sn.down = append(sn.down, func() error { return sn.sender.Ack(log, through) })
	}
	clear(sn.owed)
}

// world is the model that the rules are tested against.
type world struct {
	shore    *shore
	devices  []*device
	sessions []*session
	frozen   map[string]block.Hash // hash at (log, first seq) once synced
	acked    map[block.ID]uint64
	sealed   []*block.Block // everything ever sealed
}

func (w *world) check(t *rapid.T) {
	for log, blocks := range w.shore.synced {
		want := Head{Log: log}
		for _, b := range blocks {
			if b.FirstSeq != want.Last+1 { // invariants 2 and 3
				t.Fatalf("log %v goes from %d to %d", log, want.Last, b.FirstSeq)
			}
			if b.Prev != want.Hash { // invariant 11
				t.Fatalf("log %v: chain breaks at %d", log, b.FirstSeq)
			}
			want = After(b)
			key := fmt.Sprint(log, b.FirstSeq)
			if old, ok := w.frozen[key]; ok && old != b.Hash { // invariant 4
				t.Fatalf("block %s changed", key)
			}
			w.frozen[key] = b.Hash
		}
		if w.acked[log] > want.Last { // invariant 1, the part that is rules
			t.Fatalf("log %v acknowledged through %d, held through %d", log, w.acked[log], want.Last)
		}
	}
	// Invariant 6: what was sealed is on a device, on the server or kept aside.
	kept := map[block.Hash]bool{}
	for _, d := range w.devices {
		for _, blocks := range d.logs {
			for _, b := range blocks {
				kept[b.Hash] = true
			}
		}
	}
	for _, blocks := range w.shore.synced {
		for _, b := range blocks {
			kept[b.Hash] = true
		}
	}
	for _, b := range w.sealed {
		if !kept[b.Hash] && w.shore.aside[b.Hash] == nil {
			t.Fatalf("block %v is nowhere", b.Hash)
		}
	}
}

func (w *world) ack(t *rapid.T, sn *session) {
	if len(sn.down) == 0 {
		return
	}
	if err := sn.down[0](); err != nil {
		t.Fatal(err)
	}
	sn.down = sn.down[1:]
	for log, blocks := range sn.dev.logs {
		durable := sn.sender.Durable(log)
		sn.dev.durable[log] = durable
		w.acked[log] = max(w.acked[log], durable)
		for _, b := range blocks { // what is acknowledged is there, not something else
			if held := startingAt(w.shore.synced[log], b.FirstSeq); b.LastSeq() <= durable && (held == nil || held.Hash != b.Hash) {
				t.Fatalf("block %d of log %v was acknowledged and is not held", b.FirstSeq, log)
			}
		}
	}
}

func (w *world) drop(sn *session) {
	w.sessions = slices.DeleteFunc(w.sessions, func(s *session) bool { return s == sn })
}

// TestInv02_03_04_06_11_PushAgainstAModel drives any interleaving of writing,
// sending, syncing, acknowledging, cutting, crashing and cloning.
func TestInv02_03_04_06_11_PushAgainstAModel(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		w := &world{shore: newShore(), devices: []*device{newDevice(1), newDevice(2)},
			frozen: map[string]block.Hash{}, acked: map[block.ID]uint64{}}
		// rapid favors small numbers, which here means the same few actions;
		// an even draw from a seed reaches further.
		draw := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		texts := 0
		actions := map[string]func(){
			"write": func() {
				d := w.devices[draw.IntN(len(w.devices))]
				texts++
				b := seal(t, headOf(d.open, d.logs[d.open]), fmt.Sprint("text ", texts), 1+draw.IntN(4))
				d.logs[d.open] = append(d.logs[d.open], b)
				w.sealed = append(w.sealed, b)
			},
			"connect": func() {
				w.sessions = append(w.sessions, connect(t, w.devices[draw.IntN(len(w.devices))], w.shore, draw.IntN(2) == 0, draw.IntN(8) == 0))
			},
			"sync": func() {
				w.shore.sync()
				for _, sn := range w.sessions {
					sn.acks()
				}
			},
			"stray": func() { // a block from nowhere, late, early or twice
				if len(w.sealed) > 0 {
					w.shore.take(w.sealed[draw.IntN(len(w.sealed))])
				}
			},
			"crash": func() {
				w.shore.crash()
				w.sessions = nil
			},
			"clone": func() {
				d := w.devices[draw.IntN(len(w.devices))]
				twin := &device{name: d.name + 100, logs: map[block.ID][]*block.Block{}, open: d.open, durable: maps.Clone(d.durable)}
				for log, blocks := range d.logs {
					twin.logs[log] = slices.Clone(blocks)
				}
				if len(w.devices) < 4 {
					w.devices = append(w.devices, twin)
				}
			},
		}
		onSession := map[string]func(*session){
			"send":   func(sn *session) { sn.send() },
			"arrive": func(sn *session) { sn.arrive(w.shore) },
			"ack":    func(sn *session) { w.ack(t, sn) },
			"cut":    w.drop,
		}
		weighted := []string{"crash", "clone", "cut", "stray", "write", "write", "write", "connect", "connect", "sync", "sync", "write", "connect", "send", "send", "arrive", "arrive",
			"send", "send", "send", "send", "arrive", "arrive", "arrive", "arrive", "ack", "ack"}
		for range 400 {
			name := weighted[draw.IntN(len(weighted))]
			if act := actions[name]; act != nil {
				act()
			} else if len(w.sessions) > 0 {
				onSession[name](w.sessions[draw.IntN(len(w.sessions))])
			}
			w.check(t)
		}
		w.settle(t)
	})
}

// settle lets every device push until nothing moves: each block it holds is then
// on the server, or its log is known to have forked.
func (w *world) settle(t *rapid.T) {
	w.shore.crash()
	for _, d := range w.devices {
		sn := connect(t, d, w.shore, true, false)
		for range 1000 {
			for sn.send() {
			}
			for sn.arrive(w.shore) {
			}
			w.shore.sync()
			sn.acks()
			for len(sn.down) > 0 {
				w.ack(t, sn)
			}
			if sn.sender.Done() {
				break
			}
		}
		if !sn.sender.Done() {
			t.Fatal("a push over a sound link does not end")
		}
		forked := map[block.ID]bool{}
		for _, stop := range sn.sender.Stops() {
			if !stop.Forked {
				t.Fatalf("log stopped without a fork: %+v", stop)
			}
			forked[stop.Log] = true
		}
		for log, blocks := range d.logs {
			for _, b := range blocks {
				held := startingAt(w.shore.synced[log], b.FirstSeq)
				if (held == nil || held.Hash != b.Hash) && !forked[log] {
					t.Fatalf("block %d of log %v is missing and no fork is known", b.FirstSeq, log)
				}
			}
		}
		w.check(t)
	}
}

func TestSender_Window(t *testing.T) {
	t.Parallel()
	log := block.ID{9}
	s := NewSender([]Head{{Log: log, Last: 100, Hash: block.Hash{1}}})
	own := func(block.ID, uint64) (block.Hash, bool) { return block.Hash{}, false }
	if err := s.Welcome([]Resume{{Log: log, State: New}}, Window{}, own); err != nil {
		t.Fatal(err)
	}
	if !s.Fits(200 << 10) {
		t.Error("a block larger than the window does not fit an empty one")
	}
	for i := range 16 {
		if !s.Fits(1000) {
			t.Fatalf("block %d does not fit", i)
		}
		s.Sent(log, uint64(i+1), 1000)
	}
	if s.Fits(1000) {
		t.Error("a seventeenth block fits")
	}
	if err := s.Ack(log, 10); err != nil {
		t.Fatal(err)
	}
	if !s.Fits(54<<10) || s.Fits(64<<10) {
		t.Error("the window counts bytes wrongly")
	}
	if err := s.Ack(log, 17); !errors.Is(err, ErrProtocol) {
		t.Errorf("acknowledging what was not sent: %v", err)
	}
	if err := s.Ack(block.ID{8}, 1); !errors.Is(err, ErrProtocol) {
		t.Errorf("acknowledging another log: %v", err)
	}
}

// TestSender_Assume: blocks go out before the answer, few; what the server turns out
// to hold beyond is not sent again, and if it holds less the push starts anew.
func TestSender_Assume(t *testing.T) {
	t.Parallel()
	log := block.ID{9}
	own := func(block.ID, uint64) (block.Hash, bool) { return block.Hash{7}, true }
	begin := func() *Sender {
		s := NewSender([]Head{{Log: log, Last: 100, Hash: block.Hash{1}}})
		if _, _, ok := s.Next(); ok {
			t.Fatal("a log goes out before the answer, and nothing was assumed")
		}
		s.Assume(log, 40)
		if _, first, ok := s.Next(); !ok || first != 41 {
			t.Fatalf("the first block starts at %d, want 41", first)
		}
		s.Sent(log, 50, 5000)
		if s.Fits(5000) {
			t.Fatal("more than the first window goes out before the answer")
		}
		return s
	}
	for _, tt := range []struct {
		name        string
		holds, next uint64
		want        error
	}{
		{"as assumed", 40, 51, nil}, {"what is under way", 50, 51, nil}, {"more", 70, 71, nil}, {"less", 30, 0, ErrAssumed},
	} {
		s := begin()
		err := s.Welcome([]Resume{{Log: log, State: Known, After: tt.holds, Hash: block.Hash{7}}}, Window{}, own)
		if !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.want)
		}
		if _, first, _ := s.Next(); err == nil && (first != tt.next || !s.Fits(5000)) {
			t.Errorf("%s: goes on at %d, want %d", tt.name, first, tt.next)
		}
	}
	if err := begin().Welcome([]Resume{{Log: log, State: New}}, Window{}, own); !errors.Is(err, ErrAssumed) {
		t.Errorf("unknown there: %v, want ErrAssumed", err)
	}
}

// TestSender_After: a log waits for the one before it, and for a next push if the server
// refused that one, but not for one that the device cannot read.
func TestSender_After(t *testing.T) {
	t.Parallel()
	first, second := block.ID{1}, block.ID{2}
	begin := func() *Sender {
		s := NewSender([]Head{{Log: second, Last: 5}, {Log: first, Last: 10}})
		s.After(second, first)
		s.Assume(second, 0)
		if log, _, ok := s.Next(); ok {
			t.Fatalf("log %v goes out first", log)
		}
		own := func(block.ID, uint64) (block.Hash, bool) { return block.Hash{}, false }
		if err := s.Welcome([]Resume{{Log: second, State: New}, {Log: first, State: New}}, Window{}, own); err != nil {
			t.Fatal(err)
		}
		if log, _, ok := s.Next(); !ok || log != first {
			t.Fatalf("log %v goes out first", log)
		}
		s.Sent(first, 10, 100)
		if log, _, ok := s.Next(); ok {
			t.Fatalf("log %v does not wait", log)
		}
		return s
	}
	for _, tt := range []struct {
		name       string
		then       func(s *Sender) error
		goes, done bool
	}{
		{"safe in part", func(s *Sender) error { return s.Ack(first, 9) }, false, false},
		{"safe", func(s *Sender) error { return s.Ack(first, 10) }, true, false},
		{"forked", func(s *Sender) error { return s.Nack(first, true, "") }, false, true},
		{"refused", func(s *Sender) error { return s.Nack(first, false, "") }, false, true},
		{"unreadable", func(s *Sender) error { s.Halt(first, ""); return nil }, true, false},
	} {
		s := begin()
		if err := tt.then(s); err != nil {
			t.Fatal(err)
		}
		if log, _, ok := s.Next(); ok != tt.goes || ok && log != second || s.Done() != tt.done {
			t.Errorf("%s: the second goes %v, done %v", tt.name, ok, s.Done())
		}
	}
}

func TestJudge(t *testing.T) {
	t.Parallel()
	log := block.ID{3}
	one := seal(t, Head{Log: log}, "one", 2)
	other := seal(t, Head{Log: log}, "other", 2)
	two := seal(t, After(one), "two", 1)
	stranger := seal(t, After(other), "two", 1)
	stored := func(first uint64) (block.Hash, bool) { return one.Hash, first == 1 }
	tests := []struct {
		name string
		head Head
		b    *block.Block
		want Verdict
	}{
		{"first", Head{Log: log}, one, Append},
		{"next", After(one), two, Append},
		{"again", After(one), one, Duplicate},
		{"again later", After(two), one, Duplicate},
		{"before its predecessor", Head{Log: log}, two, Gap},
		{"other content at the same place", After(one), other, Forked},
		{"other predecessor", After(one), stranger, Forked},
		{"inside a stored block", After(one), seal(t, Head{Log: log, Last: 1, Hash: block.Hash{1}}, "x", 1), Forked},
	}
	for _, tt := range tests {
		if got := Judge(tt.head, tt.b, stored); got != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestAnswer(t *testing.T) {
	t.Parallel()
	h1, h2 := block.Hash{1}, block.Hash{2}
	at := func(last uint64) (block.Hash, bool) { return h1, last == 5 }
	tests := []struct {
		name          string
		offered, held Head
		want          Resume
	}{
		{"never seen", Head{Last: 5, Hash: h1}, Head{}, Resume{State: New}},
		{"equal", Head{Last: 5, Hash: h1}, Head{Last: 5, Hash: h1}, Resume{State: Known, After: 5, Hash: h1}},
		{"device ahead", Head{Last: 9, Hash: h2}, Head{Last: 5, Hash: h1}, Resume{State: Known, After: 5, Hash: h1}},
		{"rolled back", Head{Last: 5, Hash: h1}, Head{Last: 9, Hash: h2}, Resume{State: Parted, After: 5, Hash: h1}},
		{"other content", Head{Last: 5, Hash: h2}, Head{Last: 5, Hash: h1}, Resume{State: Parted}},
	}
	for _, tt := range tests {
		if got := Answer(tt.offered, tt.held, at); got != tt.want {
			t.Errorf("%s: %+v, want %+v", tt.name, got, tt.want)
		}
	}
}

func TestInv26_CursorOfAnotherServerIsRefused(t *testing.T) {
	t.Parallel()
	ponds := []block.ID{{1}, {2}}
	scope := ScopeOf(block.ID{7}, "default", ponds)
	if scope != ScopeOf(block.ID{7}, "default", []block.ID{{2}, {1}, {2}}) {
		t.Error("the order of ponds changes the scope")
	}
	chain := Chain{7}.Next("default", block.Hash{1}).Next("default", block.Hash{2})
	c := Cursor{Chain: chain, Seq: 2, Scope: scope}
	got, err := ParseCursor(c.Bytes())
	if err != nil || got != c {
		t.Fatalf("round trip: %+v, %v", got, err)
	}
	tests := []struct {
		name  string
		scope [8]byte
		chain Chain
		found bool
		want  error
	}{
		{"same", scope, chain, true, nil},
		{"other server", scope, Chain{8}.Next("default", block.Hash{1}).Next("default", block.Hash{2}), true, ErrCursorInvalid},
		{"put back, then other blocks", scope, Chain{7}.Next("default", block.Hash{3}).Next("default", block.Hash{2}), true, ErrCursorInvalid},
		{"put back, then another tenant's", scope, Chain{7}.Next("default", block.Hash{1}).Next("other", block.Hash{2}), true, ErrCursorInvalid},
		{"other ponds", ScopeOf(block.ID{7}, "default", ponds[:1]), chain, true, ErrCursorInvalid},
		{"other tenant", ScopeOf(block.ID{7}, "other", ponds), chain, true, ErrCursorInvalid},
		{"put back, and told so", ScopeOf(block.ID{8}, "default", ponds), chain, true, ErrCursorInvalid},
		{"ahead of the server", scope, Chain{}, false, ErrCursorInvalid},
	}
	for _, tt := range tests {
		if err := c.Check(tt.scope, tt.chain, tt.found); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.want)
		}
	}
}

func FuzzCursor(f *testing.F) {
	f.Add(Cursor{Chain: Chain{7}, Seq: 1 << 40}.Bytes())
	f.Fuzz(func(t *testing.T, b []byte) {
		if c, err := ParseCursor(b); err == nil && string(c.Bytes()) != string(b) {
			t.Fatal("cursor has two spellings")
		}
	})
}
