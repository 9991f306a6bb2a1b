package store

import (
	"bytes"
	"cmp"
	"encoding/json"
	"slices"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
)

// State says what becomes of a log.
type State string

// The states of a log.
const (
	Growing State = "growing" // of this device, takes new entries
	Closed  State = "closed"  // of this device, complete; still pushed
	Forked  State = "forked"  // of this device, but the server holds other entries: its own are to be moved
	Parted  State = "parted"  // begun by this device, goes on as the server has it
	Parked  State = "parked"  // of this device: a block that the server cannot take, not pushed
	Foreign State = "foreign" // of another device, pulled
)

// Log is what the store knows of one log.
type Log struct {
	ID         block.ID
	Pond       block.ID
	State      State
	CreatedHLC uint64     `json:",omitempty"`
	Sealed     uint64     // last entry in a block
	Head       block.Hash // hash of the block that ends there
	Durable    uint64     `json:",omitempty"` // last entry the server acknowledged
	Archived   uint64     `json:",omitempty"` // last entry in a backup off the server
	Released   uint64     `json:",omitempty"` // up to here soundings may be gone: they are in that backup
	Soundings  uint64     `json:",omitempty"` // entries recorded, sealed or not
	Records    uint64     `json:",omitempty"`
	Trouble    string     `json:",omitempty"` // why the last push stopped, for people
	Move       *Move      `json:",omitempty"` // of the log's end to another, under way
}

// Move is how far the end of a log has been moved to another.
type Move struct {
	After   uint64   // last entry that stays
	Through uint64   // last entry moved
	To      block.ID // the log it goes on in
	Then    State    // of the log once all is moved
	Parks   bool     // the first block moved is parked instead
	Moved   []moved  // where entries went, by which records name each other: of this log and of those before it
}

// moved is a run of entries that went from one log to another.
type moved struct {
	From        block.ID
	First, Last uint64
	To          block.ID
	ToFirst     uint64
}

// place returns where an entry went.
func (m *Move) place(r exchange.Ref) (exchange.Ref, bool) {
	for _, s := range m.Moved {
		if s.From == r.Log && s.First <= r.Seq && r.Seq <= s.Last {
			return exchange.Ref{Log: s.To, Seq: s.ToFirst + r.Seq - s.First}, true
		}
	}
	return r, false
}

// note adds a run.
func (m *Move) note(n moved) {
	if i := len(m.Moved) - 1; i >= 0 && m.Moved[i].From == n.From && m.Moved[i].To == n.To && m.Moved[i].Last+1 == n.First &&
		m.Moved[i].ToFirst+n.First-m.Moved[i].First == n.ToFirst {
		m.Moved[i].Last = n.Last
		return
	}
	m.Moved = append(slices.Clip(m.Moved), n)
}

// Own reports whether the log's entries are this device's to push.
func (l *Log) Own() bool { return l.State != Foreign && l.State != Parted }

// pushed reports whether a push offers the log.
func (l *Log) pushed() bool { return l.State == Growing || l.State == Closed }

// Last returns the sequence number of the last entry, sealed or not.
func (l *Log) Last() uint64 { return l.Soundings + l.Records }

func (l *Log) put(txn *badger.Txn) error {
	value, err := json.Marshal(l)
	if err != nil {
		return err
	}
	return txn.Set(idKey(keyLog, l.ID), value)
}

// Logs returns every log, in order of pond and id.
func (s *Store) Logs() []Log {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := make([]Log, 0, len(s.logs))
	for _, l := range s.logs {
		out = append(out, l.Log)
	}
	sortLogs(out)
	return out
}

// Owns reports whether a log is this device's to push.
func (s *Store) Owns(log block.ID) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	l := s.logs[log]
	return l != nil && l.Own()
}

// Which says what logs Heads returns.
type Which uint8

// The answers of Heads.
const (
	Pushed Which = iota // of this device, neither forked nor parked: a push offers them
	Pulled              // of others, or going on as others wrote them
	Held                // all that the server can have, which a pull names
)

// Heads returns how far logs are sealed.
func (s *Store) Heads(which Which) []exchange.Head {
	var out []exchange.Head
	for _, l := range s.Logs() {
		if l.Sealed > 0 && (which == Pushed && l.pushed() || which == Pulled && !l.Own() || which == Held && (l.pushed() || !l.Own())) {
			out = append(out, exchange.Head{Log: l.ID, Last: l.Sealed, Hash: l.Head})
		}
	}
	return out
}

// Resumable returns how far the server acknowledged each log of this device that a
// push may go on with unasked: nothing was the matter with it last time.
func (s *Store) Resumable() map[block.ID]uint64 {
	out := map[block.ID]uint64{}
	for _, l := range s.Logs() {
		if l.pushed() && l.Trouble == "" {
			out[l.ID] = l.Durable
		}
	}
	return out
}

// Earlier returns, for logs of this device that a push offers, the one of the same pond
// made before it, whose entries it may name.
func (s *Store) Earlier() map[block.ID]block.ID {
	logs := slices.DeleteFunc(s.Logs(), func(l Log) bool { return !l.pushed() || l.Sealed == 0 })
	slices.SortStableFunc(logs, func(a, b Log) int {
		return cmp.Or(bytes.Compare(a.Pond[:], b.Pond[:]), cmp.Compare(a.CreatedHLC, b.CreatedHLC))
	})
	out := map[block.ID]block.ID{}
	for i := 1; i < len(logs); i++ {
		if logs[i-1].Pond == logs[i].Pond {
			out[logs[i].ID] = logs[i-1].ID
		}
	}
	return out
}

// Acknowledged notes how far the server holds a log, and forgets earlier trouble.
func (s *Store) Acknowledged(log block.ID, durable, archived uint64) error {
	return s.changeLog(log, func(l *Log) bool {
		changed := l.Durable != durable || l.Archived != archived || l.Trouble != ""
		l.Durable, l.Archived, l.Trouble = durable, archived, ""
		return changed
	})
}

// Stopped notes why a log could not be pushed to its end. A forked log takes no
// more entries: the next one for its pond starts a new log, and Fork moves those that
// the server does not hold.
func (s *Store) Stopped(log block.ID, forked bool, why string) error {
	return s.changeLog(log, func(l *Log) bool {
		l.Trouble = why
		if planted.Is("wipe-on-refusal") && !forked {
			_ = s.db.DropPrefix(idKey(keyBlock, l.ID))
		}
		if forked {
			l.State = Forked
		}
		return true
	})
}

func (s *Store) changeLog(id block.ID, change func(*Log) bool) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return ErrClosed
	}
	c := s.begin()
	defer c.discard()
	l := c.log(id)
	if l == nil || !change(&l.Log) {
		return nil
	}
	if l.State != Growing && s.open[l.Pond] == id {
		if err := c.seal(l); err != nil {
			return err
		}
		if err := c.closeLog(l, l.State); err != nil {
			return err
		}
	}
	return c.commit()
}
