package crossing

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pondwright/client"
	"pondwright/proto/block"
)

// killRounds is how often each side is killed; hundreds by night.
var killRounds = flag.Int("kill-rounds", 10, "how often the client's and the server's process are killed")

// The test binary starts itself again as a boat when envBoat is set: it records
// and syncs until it is killed or the server is gone.
const (
	envBoat  = "PONDWRIGHT_TEST_BOAT_DIR"
	envShore = "PONDWRIGHT_TEST_BOAT_SHORE"
	envFirst = "PONDWRIGHT_TEST_BOAT_FIRST"
)

// crashPond keeps these soundings apart.
var crashPond = block.PondID("Night Heron")

// sailUntilKilled says "kept A B" once the readings A to B-1 are accepted and "safe
// B" once a sync that began after has come to its end.
func sailUntilKilled(dir string) int {
	ctx := context.Background()
	first, err := strconv.Atoi(os.Getenv(envFirst))
	if err != nil {
		return 3
	}
	c, err := client.Open(ctx, dir)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 3
	}
	conn, err := client.Dial(os.Getenv(envShore))
	if err != nil {
		return 3
	}
	fmt.Println("open")
	draw := rand.New(rand.NewPCG(uint64(first), 1))
	for n := first; ; {
		more := 1 + draw.IntN(40)
		if draw.IntN(6) == 0 {
			more = 700
		}
		if err := c.RecordSoundings(ctx, crashPond, block.ID{9}, "crew", readings(n, more)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 3
		}
		fmt.Println("kept", n, n+more)
		n += more
		if draw.IntN(3) == 0 {
			if _, err := c.Sync(ctx, conn); err != nil {
				return 0 // the server is gone
			}
			fmt.Println("safe", n)
		}
	}
}

// child starts this binary in another role and returns the lines it says.
func child(t *testing.T, env ...string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), env...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	if !lines.Scan() {
		t.Fatalf("%v said nothing: %v", env, lines.Err())
	}
	return cmd, lines
}

// ledger is what a boat said it holds, and what it said is on the server.
type ledger struct {
	kept []([2]int)
	safe int // every reading kept below is on the server
	next int // below it numbers may have been used
}

// hear reads what a boat says until it is dead.
func (l *ledger) hear(t *testing.T, lines *bufio.Scanner) {
	for lines.Scan() {
		word := strings.Fields(lines.Text())
		switch word[0] {
		case "kept":
			from, err1 := strconv.Atoi(word[1])
			to, err2 := strconv.Atoi(word[2])
			if err1 != nil || err2 != nil {
				t.Fatal(lines.Text())
			}
			l.kept = append(l.kept, [2]int{from, to})
			l.next = to
		case "safe":
			n, err := strconv.Atoi(word[1])
			if err != nil {
				t.Fatal(lines.Text())
			}
			l.safe = n
		}
	}
	l.next += 1000 // one more batch may have been stored before it could say so
}

// check compares what the server holds with what was said. Below the mark all that
// was kept must be there.
func (l *ledger) check(t *testing.T, got []int32, below int) {
	t.Helper()
	for i := 1; i < len(got); i++ {
		if got[i] == got[i-1] {
			t.Fatalf("reading %d is stored twice", got[i])
		}
	}
	for _, k := range l.kept {
		for n := k[0]; n < min(k[1], below); n++ {
			if _, found := slices.BinarySearch(got, int32(n)); !found {
				t.Fatalf("reading %d was acknowledged or kept and is lost", n)
			}
		}
	}
}

// TestInv01_02_KilledAtAnyMoment kills a boat's and a server's process again and
// again, each at a moment of its own: what the boat was told is safe is on the
// server's disk, and in the end everything it accepted is there once.
func TestInv01_02_KilledAtAnyMoment(t *testing.T) {
	t.Parallel()
	for _, victim := range []string{"boat", "server"} {
		t.Run(victim, func(t *testing.T) {
			t.Parallel()
			killAtAnyMoment(t, victim)
		})
	}
}

func killAtAnyMoment(t *testing.T, victim string) {
	shoreDir, boatDir := t.TempDir(), t.TempDir()
	draw := rand.New(rand.NewPCG(uint64(len(victim)), 2))
	var l ledger
	var srv *exec.Cmd
	var addr string
	defer func() {
		if srv != nil {
			_ = srv.Process.Kill()
			_ = srv.Wait()
		}
	}()
	for range *killRounds {
		if srv == nil {
			var lines *bufio.Scanner
			srv, lines = child(t, envDir+"="+shoreDir, envPoint+"=", envNth+"=0")
			addr = lines.Text()
		}
		boat, lines := child(t, envBoat+"="+boatDir, envShore+"="+addr, envFirst+"="+strconv.Itoa(l.next))
		time.AfterFunc(time.Duration(20+draw.IntN(250))*time.Millisecond, func() {
			if victim == "boat" {
				_ = boat.Process.Kill()
			} else {
				_ = srv.Process.Kill()
			}
		})
		l.hear(t, lines)
		_ = boat.Wait()
		if victim == "server" {
			_ = srv.Wait()
			srv = nil
			s := startShore(t, shoreDir)
			l.check(t, heldOf(t, s.State(), crashPond), l.safe)
			s.stop()
		}
	}
	if srv != nil {
		_ = srv.Process.Kill()
		_ = srv.Wait()
		srv = nil
	}
	s := startShore(t, shoreDir)
	l.check(t, heldOf(t, s.State(), crashPond), l.safe)
	mustSync(t, openBoat(t, boatDir), dial(t, s.addr))
	got := heldOf(t, s.State(), crashPond)
	l.check(t, got, l.next)
	t.Logf("%s killed %d times: %d readings, 0 acknowledged lost, 0 duplicated", victim, *killRounds, len(got))
}
