package exchange

import (
	"pondwright/proto/block"
	"pondwright/proto/planted"
)

// Head is how far somebody holds a log. The zero Last means not at all.
type Head struct {
	Log  block.ID
	Last uint64     // sequence number of the last entry held
	Hash block.Hash // hash of the block that ends there
}

// After returns the head once b has been appended.
func After(b *block.Block) Head { return Head{Log: b.Log, Last: b.LastSeq(), Hash: b.Hash} }

// Verdict is what to do with a block that was received.
type Verdict uint8

// The verdicts.
const (
	Append    Verdict = iota + 1 // it continues the log: store it
	Duplicate                    // it is stored already: acknowledge it, write nothing
	Gap                          // entries before it are missing: ask for them
	Forked                       // other entries stand at its place: keep it aside, never overwrite
)

// String returns the verdict's name in lower case.
func (v Verdict) String() string {
	return [...]string{"none", "append", "duplicate", "gap", "forked"}[min(int(v), 4)]
}

// Judge compares a block with the head of its log. stored returns the hash of the
// stored block that starts at a sequence number, and whether there is one; Judge
// asks only for numbers up to head.Last.
func Judge(head Head, b *block.Block, stored func(firstSeq uint64) (block.Hash, bool)) Verdict {
	switch {
	case b.FirstSeq > head.Last+1:
		return Gap
	case b.FirstSeq == head.Last+1:
		if b.Prev == head.Hash || planted.Is("chain-unchecked") {
			return Append
		}
		return Forked
	}
	if hash, ok := stored(b.FirstSeq); ok && hash == b.Hash {
		if planted.Is("dedupe-off") {
			return Append
		}
		return Duplicate
	}
	if planted.Is("overwrite-on-fork") {
		return Append
	}
	return Forked
}

// State is what a server makes of a log it is offered.
type State uint8

// The states.
const (
	Known  State = iota + 1 // go on after Resume.After
	New                     // never seen: start with entry 1
	Parted                  // the two ends hold different entries: close the log
)

// Resume is a server's answer to one log of a Hello.
type Resume struct {
	Log      block.ID
	State    State
	After    uint64     // last entry held durably; for Parted the last one of those offered that is common
	Hash     block.Hash // hash of the block that ends there
	Archived uint64     // last entry that is also in a backup elsewhere
}

// Answer says how to go on with a log whose device stands at offered and which
// the server holds up to held. hashAt returns the hash of the server's block that
// ends at a sequence number, and whether one does. A device that holds less than
// the server was rolled back, since it stores before it sends.
func Answer(offered, held Head, hashAt func(lastSeq uint64) (block.Hash, bool)) Resume {
	r := Resume{Log: offered.Log, State: Known, After: held.Last, Hash: held.Hash}
	switch {
	case held.Last == 0:
		r.State = New
	case offered.Last > held.Last: // the device compares the hash
	case offered.Last == held.Last && offered.Hash == held.Hash:
	default:
		r.State, r.After, r.Hash = Parted, 0, block.Hash{}
		if hash, ok := hashAt(offered.Last); ok && hash == offered.Hash {
			r.After, r.Hash = offered.Last, hash
		}
	}
	return r
}

// Mark names a block of a log by its end.
type Mark struct {
	Last uint64
	Hash block.Hash
}

// Common returns the last of the marks that hashAt knows, the zero Mark if it knows
// none. Blocks are chained, so two ends that share a block share all before it.
func Common(marks []Mark, hashAt func(lastSeq uint64) (block.Hash, bool)) Mark {
	var best Mark
	for _, m := range marks {
		if m.Last <= best.Last {
			continue
		}
		if hash, ok := hashAt(m.Last); ok && hash == m.Hash {
			best = m
		}
	}
	return best
}
