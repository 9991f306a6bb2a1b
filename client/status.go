package client

import (
	"context"
	"fmt"
	"time"

	"pondwright/client/store"
	"pondwright/proto/block"
)

// Status is how a device stands, in plain numbers.
type Status struct {
	Device      block.ID
	Ponds       []PondStatus // in order of id
	Soundings   uint64       // recorded on this device
	Records     uint64       // recorded on this device
	Waiting     uint64       // entries recorded here that no server has acknowledged
	LastSync    time.Time    // of the last complete sync; zero for never
	Quarantined []Quarantine // what a person should look at
	Parted      []Parted     // logs that this device found it no longer writes alone
}

// Parted is a log that goes on as the server has it. Nothing is lost, but the store
// was put back to an earlier day, or a copy of it is in use somewhere.
type Parted struct {
	Pond   block.ID
	Log    block.ID
	Reason string
}

// PondStatus is how one pond stands on this device.
type PondStatus struct {
	Pond      block.ID
	Soundings uint64 // recorded here
	Records   uint64 // recorded here
	Waiting   uint64 // recorded here and not acknowledged
	Pulled    uint64 // entries that came from the server, or are as it has them
}

// Quarantine is entries that are safe on this device but not in the server's log,
// or that came from the server and contradict what is held here.
type Quarantine struct {
	Pond    block.ID // zero if not known
	Log     block.ID
	Entries uint64 // how many at most; 0 if not known
	Reason  string
}

// Status returns how the device stands. It asks no server.
func (c *Client) Status(ctx context.Context) (Status, error) {
	if err := ctx.Err(); err != nil {
		return Status{}, err
	}
	ponds, err := c.store.Ponds()
	if err != nil {
		return Status{}, err
	}
	st := Status{Device: c.store.Device(), Ponds: make([]PondStatus, len(ponds))}
	at := make(map[block.ID]*PondStatus, len(ponds))
	for i, id := range ponds {
		st.Ponds[i].Pond = id
		at[id] = &st.Ponds[i]
	}
	for _, l := range c.store.Logs() {
		p := at[l.Pond]
		if p == nil { // recorded since the ponds were listed
			continue
		}
		if l.State == store.Parted {
			st.Parted = append(st.Parted, Parted{Pond: l.Pond, Log: l.ID, Reason: l.Trouble})
		}
		if !l.Own() {
			p.Pulled += l.Last()
			continue
		}
		p.Soundings += l.Soundings
		p.Records += l.Records
		unsent := l.Last() - min(l.Durable, l.Last())
		if l.State == store.Forked || l.Trouble != "" {
			st.Quarantined = append(st.Quarantined, Quarantine{Pond: l.Pond, Log: l.ID, Entries: unsent, Reason: l.Trouble})
		}
		if l.State != store.Parked {
			p.Waiting += unsent
		}
	}
	for _, p := range st.Ponds {
		st.Soundings += p.Soundings
		st.Records += p.Records
		st.Waiting += p.Waiting
	}
	aside, err := c.store.KeptAside()
	if err != nil {
		return Status{}, err
	}
	for _, a := range aside {
		st.Quarantined = append(st.Quarantined, Quarantine{Log: a.Log,
			Reason: fmt.Sprintf("this device and the server held two different blocks from entry %d on; both are kept", a.First)})
	}
	ms, err := c.store.Synced()
	if err != nil {
		return Status{}, err
	}
	if ms > 0 {
		st.LastSync = time.UnixMilli(ms)
	}
	return st, nil
}
