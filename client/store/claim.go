package store

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	"pondwright/proto/planted"
)

// Names of single values.
const (
	metaFormat  = "format"       // version of the store's layout
	metaMarker  = "installation" // equals the marker file
	metaDevice  = "device"       // id of this installation
	metaClock   = "clock"        // bound of the hybrid clock
	metaCursor  = "cursor"       // where the next pull goes on
	metaOffered = "offered"      // Unix ms at which a block was parked last
	metaSynced  = "synced"       // Unix ms of the last complete sync
	metaGreeted = "greeted"      // Unix ms of the last one that greeted the server, empty since it was greeted
)

const storeFormat = 1

// markerName is the file beside the database that a backup or a copy of the
// database alone does not carry. It lies in the store's folder so that removing
// the folder removes both.
const markerName = "installation"

// load reads the logs, the open logs and their rows into memory.
func (s *Store) load() error {
	return s.db.View(func(txn *badger.Txn) error {
		format, err := get(txn, metaKey(metaFormat))
		if err != nil {
			return err
		}
		if v, _ := strconv.Atoi(string(format)); v > storeFormat {
			return fmt.Errorf("%w: format %d, this one knows %d", ErrTooNew, v, storeFormat)
		}
		device, err := get(txn, metaKey(metaDevice))
		if err != nil {
			return err
		}
		if s.device, err = block.IDFromBytes(device); err != nil {
			return err
		}
		bound, err := get(txn, metaKey(metaClock))
		if err != nil {
			return err
		}
		s.clock = exchange.NewClock(0)
		if len(bound) == 8 {
			s.clock = exchange.NewClock(exchange.Stamp(binary.BigEndian.Uint64(bound)))
		}
		if err := each(txn, []byte{keyLog}, func(_, v []byte) error {
			l := &logState{}
			if err := json.Unmarshal(v, &l.Log); err != nil {
				return err
			}
			s.logs[l.ID] = l
			return nil
		}); err != nil {
			return err
		}
		if err := each(txn, []byte{keyOpen}, func(k, v []byte) error {
			s.open[block.ID(k[1:])] = block.ID(v)
			return nil
		}); err != nil {
			return err
		}
		if err := s.rebuild(txn); err != nil {
			return err
		}
		return each(txn, []byte{keyRow}, func(k, v []byte) error {
			l := s.logs[block.ID(k[1:17])]
			if l == nil {
				return fmt.Errorf("%w: row of an unknown log", ErrCorrupt)
			}
			s.recent = l.Pond
			if slices.Contains(s.rebuilt, l.ID) {
				l.countRow(v)
			}
			return l.rows.decode(v)
		})
	})
}

// claim compares the marker in the database with the file beside it. If they
// differ, this database is not the one that was written here last, and other
// entries may already bear the numbers that its logs would give out next: every
// log is closed, its unsealed entries move to a new log that names their origin,
// and a new device id is drawn. All that happens before the first write.
func (s *Store) claim() error {
	path := filepath.Join(s.opt.Dir, markerName)
	file, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	var inside []byte
	if err := s.db.View(func(txn *badger.Txn) error {
		inside, err = get(txn, metaKey(metaMarker))
		return err
	}); err != nil {
		return err
	}
	if len(inside) > 0 && (bytes.Equal(inside, file) || planted.Is("seq-reuse-after-restore")) {
		return nil
	}

	marker, err := s.newID()
	if err != nil {
		return err
	}
	if s.device, err = s.newID(); err != nil {
		return err
	}
	if err := writeSynced(path, []byte(marker.String())); err != nil {
		return err
	}
	c := s.begin()
	defer c.discard()
	for _, id := range sortedIDs(maps.Values(s.open)) {
		if err := c.moveOut(c.log(id)); err != nil {
			return err
		}
	}
	for _, kv := range []struct{ name, value string }{
		{metaFormat, strconv.Itoa(storeFormat)}, {metaMarker, marker.String()}, {metaDevice, string(s.device[:])},
	} {
		if err := c.txn.Set(metaKey(kv.name), []byte(kv.value)); err != nil {
			return err
		}
	}
	return c.commit()
}

// moveOut closes a log and moves its unsealed entries into a new one.
func (c *change) moveOut(old *logState) error {
	taken := old.rows
	origin := block.Header{OriginLog: old.ID, OriginSeq: old.Sealed + 1}
	for i := range taken.written {
		if err := c.txn.Delete(seqKey(keyRow, old.ID, old.Sealed+1+uint64(i))); err != nil {
			return err
		}
	}
	n := uint64(taken.count())
	isRecord := len(taken.payload.Records) > 0
	old.rows = rows{}
	if isRecord {
		old.Records -= n
	} else {
		old.Soundings -= n
	}
	if err := c.closeLog(old, Closed); err != nil {
		return err
	}
	if n == 0 {
		return nil
	}
	l, err := c.openLog(old.Pond)
	if err != nil {
		return err
	}
	there := Move{Moved: []moved{{old.ID, origin.OriginSeq, origin.OriginSeq + n - 1, l.ID, 1}}}
	taken.payload.Records = slices.Clone(taken.payload.Records)
	there.reparent(taken.payload.Records)
	taken.written = 0
	l.rows = taken
	if isRecord {
		l.Records = n
	} else {
		l.Soundings = n
	}
	return c.sealAs(l, origin)
}

func writeSynced(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
}
