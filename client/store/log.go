package store

import (
	"encoding/json"

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
	Forked  State = "forked"  // of this device, but the server holds other entries
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
	Soundings  uint64     `json:",omitempty"` // entries held, sealed or not
	Records    uint64     `json:",omitempty"`
	Trouble    string     `json:",omitempty"` // why the last push stopped, for people
}

// Own reports whether this device wrote the log.
func (l *Log) Own() bool { return l.State != Foreign }

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

// Heads returns how far each log is sealed: those of this device that are not
// forked, which a push offers, or all, which a pull names as held.
func (s *Store) Heads(own bool) []exchange.Head {
	var out []exchange.Head
	for _, l := range s.Logs() {
		if l.Sealed > 0 && (!own || l.Own() && l.State != Forked) {
			out = append(out, exchange.Head{Log: l.ID, Last: l.Sealed, Hash: l.Head})
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
// more entries: the next one for its pond starts a new log.
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
	if l.State == Forked && s.open[l.Pond] == id {
		if err := c.seal(l); err != nil {
			return err
		}
		if err := c.closeLog(l, Forked); err != nil {
			return err
		}
	}
	return c.commit()
}
