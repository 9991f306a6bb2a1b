package exchange

import (
	"errors"
	"fmt"

	"pondwright/proto/block"
	"pondwright/proto/planted"
)

// Window bounds what a sender has under way without acknowledgement. A block
// larger than Bytes may go alone.
type Window struct {
	Blocks int
	Bytes  int
}

// DefaultWindow keeps a slow link busy and a cut one cheap: at 64 kbit/s its bytes
// are 8 s of sending, the most that is ever sent twice.
var DefaultWindow = Window{Blocks: 16, Bytes: 64 << 10}

// firstWindow is what may be under way before the server has answered at all.
var firstWindow = Window{Blocks: 16, Bytes: 8 << 10}

// ErrProtocol marks a message that the other end had no right to send.
var ErrProtocol = errors.New("peer broke the protocol")

// ErrAssumed says that the server holds less of a log than was assumed: offer it
// again, and assume nothing.
var ErrAssumed = errors.New("server holds less than it had acknowledged")

// Stop is a log that cannot go on in this push, and why.
type Stop struct {
	Log    block.ID
	After  uint64 // last entry known to be on the server
	Forked bool   // the two ends hold different entries: close the log
	Reason string // the server's word, if it gave one
}

// Sender is the device's half of a push. The zero Sender has nothing to send; it
// is not safe for concurrent use.
type Sender struct {
	window Window
	logs   []*outgoing
	flight []parcel // sent and not acknowledged, in order
	bytes  int      // of the parcels in flight
}

type outgoing struct {
	head    Head
	sent    uint64 // last entry sent in this push
	durable uint64 // last entry acknowledged
	assumed bool   // the server is taken to hold it up to durable, before it says so
	ready   bool   // Welcome allowed it
	stop    *Stop
	refused bool      // stop is the server's word
	after   *outgoing // goes first, nil if none does
}

// waits reports whether the log's turn has not come yet.
func (l *outgoing) waits() bool {
	return l.after != nil && (l.after.waits() || l.after.stop == nil && l.after.durable < l.after.head.Last)
}

// barred reports whether its turn does not come in this push.
func (l *outgoing) barred() bool {
	return l.after != nil && (l.after.barred() || l.after.refused)
}

type parcel struct {
	log  block.ID
	last uint64
	size int
}

// NewSender returns a Sender that offers these logs, in this order.
func NewSender(heads []Head) *Sender {
	s := &Sender{window: DefaultWindow}
	for _, h := range heads {
		s.logs = append(s.logs, &outgoing{head: h})
	}
	return s
}

// Assume lets a log's first blocks go out before the server has answered, as if it
// held the log up to an entry: what it acknowledged last. If it holds more, that much
// is sent twice; if it holds less, Welcome says ErrAssumed.
func (s *Sender) Assume(log block.ID, durable uint64) {
	if l := s.find(log); l != nil && durable <= l.head.Last {
		l.ready, l.assumed, l.sent, l.durable = true, true, durable, durable
		s.window = firstWindow
	}
}

// After lets a log go only once another is safe: its records may name the other's
// entries, and where these are refused they may have to move to another log first. Any
// other stop of the other log does not hold it up.
func (s *Sender) After(log, other block.ID) {
	if l := s.find(log); l != nil {
		l.after = s.find(other)
	}
}

// Welcome takes the server's answers, one for each log and in the same order, and
// its window. ownHash returns the hash of the device's block that ends at a
// sequence number, and whether one does: where it differs from the server's the
// log has forked.
func (s *Sender) Welcome(answers []Resume, w Window, ownHash func(log block.ID, last uint64) (block.Hash, bool)) error {
	if len(answers) != len(s.logs) {
		return fmt.Errorf("%w: %d answers to %d logs", ErrProtocol, len(answers), len(s.logs))
	}
	if w.Blocks > 0 && w.Bytes > 0 {
		s.window = Window{min(w.Blocks, DefaultWindow.Blocks), min(w.Bytes, DefaultWindow.Bytes)}
	} else {
		s.window = DefaultWindow
	}
	for i, a := range answers {
		l := s.logs[i]
		if a.Log != l.head.Log {
			return fmt.Errorf("%w: answer for log %v, want %v", ErrProtocol, a.Log, l.head.Log)
		}
		if l.assumed && a.After < l.durable && a.State != Parted {
			return fmt.Errorf("%w: log %v through %d, not %d", ErrAssumed, a.Log, a.After, l.durable)
		}
		l.durable = 0 // nothing is assumed any more
		switch a.State {
		case New:
			l.ready = true
		case Known:
			if own, ok := ownHash(a.Log, a.After); (a.After > l.head.Last || !ok || own != a.Hash) && !planted.Is("head-hash-unchecked") {
				s.refuse(l, Stop{Log: a.Log, Forked: true})
				continue
			}
			l.ready, l.sent, l.durable = true, max(l.sent, a.After), a.After
			s.land(func(p parcel) bool { return p.log == a.Log && p.last <= a.After })
			if planted.Is("resume-off-by-one") {
				l.sent++
			}
		case Parted:
			s.refuse(l, Stop{Log: a.Log, After: a.After, Forked: true})
		default:
			return fmt.Errorf("%w: answer for log %v has no state", ErrProtocol, a.Log)
		}
	}
	return nil
}

// Next returns the log and the sequence number at which the next block to send
// starts. It is false when every log is sent or stopped; whether the window has
// room is for Fits to say.
func (s *Sender) Next() (log block.ID, first uint64, ok bool) {
	for _, l := range s.logs {
		if l.ready && l.stop == nil && l.sent < l.head.Last && !l.waits() && !l.barred() {
			return l.head.Log, l.sent + 1, true
		}
	}
	return block.ID{}, 0, false
}

// Fits reports whether a block of size bytes may be sent now.
func (s *Sender) Fits(size int) bool {
	return len(s.flight) == 0 || len(s.flight) < s.window.Blocks && s.bytes+size <= s.window.Bytes
}

// Sent notes that the block of log that ends at last, size bytes long, is on its
// way.
func (s *Sender) Sent(log block.ID, last uint64, size int) {
	if l := s.find(log); l != nil {
		l.sent = last
		s.flight = append(s.flight, parcel{log, last, size})
		s.bytes += size
	}
}

// Ack takes an acknowledgement: everything in log up to through is safe.
func (s *Sender) Ack(log block.ID, through uint64) error {
	l := s.find(log)
	if l == nil || through > l.sent {
		return fmt.Errorf("%w: log %v acknowledged through %d, which was not sent", ErrProtocol, log, through)
	}
	l.durable = max(l.durable, through)
	s.land(func(p parcel) bool { return p.log == log && p.last <= through })
	return nil
}

// Nack takes a refusal: the log rests until the next push, and so do those that go after
// it; the others go on.
func (s *Sender) Nack(log block.ID, forked bool, reason string) error {
	l := s.find(log)
	if l == nil {
		return fmt.Errorf("%w: log %v refused, which was not offered", ErrProtocol, log)
	}
	if l.stop == nil {
		s.refuse(l, Stop{Log: log, After: l.durable, Forked: forked, Reason: reason})
	}
	return nil
}

// Halt stops a log for the rest of this push because the device cannot read its own
// block.
func (s *Sender) Halt(log block.ID, reason string) {
	if l := s.find(log); l != nil && l.stop == nil {
		s.stop(l, Stop{Log: log, After: l.durable, Reason: reason})
	}
}

func (s *Sender) refuse(l *outgoing, why Stop) {
	l.refused = true
	s.stop(l, why)
}

func (s *Sender) stop(l *outgoing, why Stop) {
	l.stop = &why
	s.land(func(p parcel) bool { return p.log == l.head.Log })
}

// Done reports whether every log is acknowledged to its end, stopped, or held up by one
// that is.
func (s *Sender) Done() bool {
	for _, l := range s.logs {
		if l.stop == nil && l.durable < l.head.Last && !l.barred() {
			return false
		}
	}
	return true
}

// Durable returns the last entry of log that the server is known to hold.
func (s *Sender) Durable(log block.ID) uint64 {
	if l := s.find(log); l != nil {
		return l.durable
	}
	return 0
}

// Stops returns the logs that could not go on, in the order offered.
func (s *Sender) Stops() []Stop {
	var out []Stop
	for _, l := range s.logs {
		if l.stop != nil {
			out = append(out, *l.stop)
		}
	}
	return out
}

func (s *Sender) find(log block.ID) *outgoing {
	for _, l := range s.logs {
		if l.head.Log == log {
			return l
		}
	}
	return nil
}

func (s *Sender) land(landed func(parcel) bool) {
	kept := s.flight[:0]
	for _, p := range s.flight {
		if landed(p) {
			s.bytes -= p.size
		} else {
			kept = append(kept, p)
		}
	}
	s.flight = kept
}

// Receiver is the server's half of a push. Offered may be called by the goroutine
// that receives while another calls Refuse.
type Receiver struct {
	offered map[block.ID]bool
	refused map[block.ID]bool
	forked  map[block.ID]bool
}

// NewReceiver returns a Receiver for the logs of a Hello.
func NewReceiver(heads []Head) *Receiver {
	r := &Receiver{offered: make(map[block.ID]bool, len(heads)), refused: map[block.ID]bool{}, forked: map[block.ID]bool{}}
	for _, h := range heads {
		r.offered[h.Log] = true
	}
	return r
}

// Offered reports whether Hello named the log: blocks of no other may come.
func (r *Receiver) Offered(log block.ID) bool { return r.offered[log] }

// Refuse notes that a block of log was refused and reports whether it was the
// first: what follows can only be a gap, and the sender is told once.
func (r *Receiver) Refuse(log block.ID) (first bool) {
	first = !r.refused[log]
	r.refused[log] = true
	return first
}

// Fork notes that a block of log contradicts what is held: what follows it is kept
// aside beside it, since no log will ever lead up to it here.
func (r *Receiver) Fork(log block.ID) { r.forked[log] = true }

// Forked reports whether a block of log was found to contradict what is held.
func (r *Receiver) Forked(log block.ID) bool { return r.forked[log] }
