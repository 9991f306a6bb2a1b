package journal

import (
	"errors"

	"github.com/dgraph-io/badger/v4"

	"pondwright/proto/block"
)

// ErrAsideFull says that what is kept aside for a tenant has reached its limit: the
// bytes were not stored. Whoever sent them still has them.
var ErrAsideFull = errors.New("what is kept aside for this tenant has reached its limit: the device keeps the rest until the operator allows more with serve --keep-aside")

// asideBytes is Options.AsideBytes unless it is given: some tens of millions of
// soundings.
const asideBytes = 256 << 20

// keep stages bytes to keep aside and reports whether they are, now or since earlier.
func (w *writer) keep(txn *badger.Txn, tenant string, log block.ID, first uint64, hash [32]byte, nowMs int64, frame []byte) (kept bool, err error) {
	_, err = txn.Get(asideKey(tenant, log, first, hash))
	if !errors.Is(err, badger.ErrKeyNotFound) {
		return err == nil, err
	}
	used, known := w.aside[tenant]
	if !known {
		used = asideOf(txn, tenant)
	}
	if used+int64(len(frame)) > w.j.opt.AsideBytes {
		w.aside[tenant] = used
		return false, nil
	}
	w.aside[tenant] = used + int64(len(frame))
	return true, putAside(txn, tenant, log, first, hash, nowMs, frame)
}

// asideOf returns how many bytes are kept aside for a tenant.
func asideOf(txn *badger.Txn, tenant string) int64 {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: tenantKey(keyAside, tenant)})
	defer it.Close()
	used := int64(0)
	for it.Rewind(); it.Valid(); it.Next() {
		used += it.Item().ValueSize() - asideLead
	}
	return used
}
