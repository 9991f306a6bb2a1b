package rehearsal

import (
	"fmt"
	"math/rand/v2"
	"slices"
)

// Script is a rehearsal written down: everything that is drawn, in the order in
// which it is played. Leaving steps out leaves a script that can be played.
type Script struct {
	Seed  uint64
	Boats int // devices at the start
	Ponds int // ponds they work on
	// Secure says that the server knows its devices: TLS, certificates, revocation.
	Secure bool   `json:",omitempty"`
	Found  string `json:",omitempty"` // what playing it once broke
	Steps  []Step
}

// Step is one thing that happens. What the numbers mean depends on what it is;
// a number too large wraps around.
type Step struct {
	Do    string // one of the actions
	Boat  int    `json:",omitempty"`
	Pond  int    `json:",omitempty"`
	N     int    `json:",omitempty"` // how many, how far, which one
	At    int    `json:",omitempty"` // where a fault strikes
	Fault string `json:",omitempty"`
	Other *Step  `json:",omitempty"` // what happens at the same time
}

// String returns the step in one line.
func (s Step) String() string {
	text := fmt.Sprintf("%s boat=%d pond=%d n=%d", s.Do, s.Boat, s.Pond, s.N)
	if s.Fault != "" {
		text += fmt.Sprintf(" fault=%s at=%d", s.Fault, s.At)
	}
	if s.Other != nil {
		text += " with " + s.Other.String()
	}
	return text
}

// The actions.
const (
	doAppend   = "append"   // soundings
	doEdit     = "edit"     // a record that replaces all versions the boat holds of it
	doSide     = "side"     // one that leaves a conflict open
	doSettle   = "settle"   // one by a person who has seen all sides
	doDelete   = "delete"   // one that says the thing is gone
	doSync     = "sync"     // with a fault, or none
	doTwo      = "two"      // two boats sync at the same time
	doDie      = "die"      // the boat's program dies and starts again
	doReopen   = "reopen"   // the boat's program ends and starts again
	doSnapshot = "snapshot" // somebody copies the boat's folder away
	doRestore  = "restore"  // … and puts it back
	doClone    = "clone"    // … or onto another device
	doJump     = "jump"     // the boat's clock is set
	doWatch    = "watch"    // the boat asks for another pond
	doFull     = "full"     // the boat's disk is full for a while
	doFollow   = "follow"   // a reader begins to watch live, or one that does stops reading, or goes on
	doRevoke   = "revoke"   // the boat is shut out
	doRejoin   = "rejoin"   // the boat gets another invitation
	doSeason   = "season"   // a hundred days pass: certificates expire
	doRestart  = "restart"  // the server stops and starts again
	doBackup   = "backup"   // the server is backed up
	doRollback = "rollback" // … and restored
	doNewer    = "newer"    // a device of a later version comes by
	doWait     = "wait"     // time passes
	doTrickle  = "trickle"  // the boat syncs, as often as it takes, over a link that lets two packets through each minute
)

// ashore are the actions that leave every boat as it is.
var ashore = map[string]bool{doRestart: true, doBackup: true, doRollback: true, doNewer: true, doWait: true, doFollow: true, doSeason: true}

// Faults of a sync. The first group strikes a message, the second the connection
// at a byte, the third the server at a point of its write path, the last the boat.
const (
	dropUp   = "drop-up"
	dropDown = "drop-down"
	dupUp    = "duplicate-up"
	dupDown  = "duplicate-down"
	swapUp   = "swap-up"
	swapDown = "swap-down"
	slowUp   = "delay-up" // three others overtake it
	slowDown = "delay-down"
	bendUp   = "bend-up" // a bit of a block flips
	bendDown = "bend-down"
	cropUp   = "crop-up" // a block loses its end
	refuse   = "refuse"  // the server will not have this device now
	reject   = "reject"  // the server will not have this block

	cutUp    = "cut-up"
	cutDown  = "cut-down"
	muteUp   = "mute-up" // half-open: what is sent vanishes, nobody is told
	muteDown = "mute-down"

	killBefore = "kill-before-write"
	killWrite  = "kill-after-write"
	killSync   = "kill-after-sync"
	killAck    = "kill-after-ack"
	diskFull   = "disk-full"
	diskFails  = "disk-fails" // at the sync

	trickle = "trickle" // two packets each minute; of doTrickle alone

	dieUp   = "die-up" // the boat's program dies at a message
	dieDown = "die-down"
)

var faults = []struct {
	name   string
	weight int
	most   int // where it may strike
}{
	{"", 60, 1},
	{dropUp, 4, 8}, {dropDown, 4, 8}, {dupUp, 4, 8}, {dupDown, 4, 8}, {swapUp, 4, 8}, {swapDown, 3, 8},
	{slowUp, 3, 8}, {slowDown, 3, 8},
	{bendUp, 4, 8}, {bendDown, 4, 8}, {cropUp, 3, 8}, {refuse, 4, 1}, {reject, 4, 4},
	{cutUp, 10, 6000}, {cutDown, 8, 3000}, {muteUp, 3, 6000}, {muteDown, 3, 3000},
	{killBefore, 3, 3}, {killWrite, 8, 3}, {killSync, 6, 3}, {killAck, 6, 3}, {diskFull, 4, 3}, {diskFails, 4, 3},
	{dieUp, 6, 8}, {dieDown, 10, 8},
}

var actions = []struct {
	name   string
	weight int
}{
	{doAppend, 30}, {doEdit, 6}, {doSide, 6}, {doSettle, 4}, {doDelete, 2}, {doSync, 42}, {doTwo, 6}, {doDie, 4},
	{doReopen, 4}, {doSnapshot, 4}, {doRestore, 4}, {doClone, 2}, {doJump, 4}, {doWatch, 3}, {doFull, 2},
	{doFollow, 4}, {doRevoke, 3}, {doRejoin, 2}, {doSeason, 1}, {doRestart, 2}, {doBackup, 3}, {doRollback, 2},
	{doNewer, 3}, {doWait, 2}, {doTrickle, 1},
}

// Generate draws a script of so many steps.
func Generate(seed uint64, steps int) Script {
	draw := rand.New(rand.NewPCG(seed, 0x706f6e64)) //nolint:gosec // a rehearsal has to repeat itself
	s := Script{Seed: seed, Boats: 2 + draw.IntN(3), Ponds: 1 + draw.IntN(3), Secure: draw.IntN(3) == 0}
	total := 0
	for _, a := range actions {
		total += a.weight
	}
	for range steps {
		k := draw.IntN(total)
		for _, a := range actions {
			if k -= a.weight; k < 0 {
				s.Steps = append(s.Steps, drawStep(draw, a.name))
				break
			}
		}
	}
	return s
}

// Without returns the script without the steps that do, or suffer, one of these.
func (s Script) Without(names []string) Script {
	s.Steps = slices.DeleteFunc(slices.Clone(s.Steps), func(step Step) bool {
		return slices.Contains(names, step.Do) || step.Fault != "" && slices.Contains(names, step.Fault) ||
			step.Other != nil && step.Other.Fault != "" && slices.Contains(names, step.Other.Fault)
	})
	return s
}

func drawStep(draw *rand.Rand, do string) Step {
	s := Step{Do: do, Boat: draw.IntN(8), Pond: draw.IntN(8), N: draw.IntN(1 << 20)}
	switch do {
	case doAppend:
		switch draw.IntN(8) {
		case 0:
			s.N = 400 + draw.IntN(900) // more than a block
		default:
			s.N = 1 + draw.IntN(40)
		}
	case doSync:
		drawFault(draw, &s)
	case doTwo:
		other := drawStep(draw, doSync)
		s.Other = &other
		drawFault(draw, &s)
	case doJump:
		s.N = draw.IntN(len(jumps))
	}
	return s
}

func drawFault(draw *rand.Rand, s *Step) {
	total := 0
	for _, f := range faults {
		total += f.weight
	}
	k := draw.IntN(total)
	for _, f := range faults {
		if k -= f.weight; k < 0 {
			s.Fault, s.At = f.name, draw.IntN(f.most)
			return
		}
	}
}
