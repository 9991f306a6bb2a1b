package crossing

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strconv"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pondwright/client"
	"pondwright/proto/block"
	"pondwright/server"
	"pondwright/server/journal"
)

// The test binary starts itself again as a server when envDir is set. It dies by
// its own hand, without any clean-up, the nth time it passes a named point.
const (
	envDir   = "PONDWRIGHT_TEST_SERVER_DIR"
	envPoint = "PONDWRIGHT_TEST_KILL_AT"
	envNth   = "PONDWRIGHT_TEST_KILL_NTH"
)

func serveUntilKilled(dir string) int {
	nth, err := strconv.ParseInt(os.Getenv(envNth), 10, 64)
	if err != nil {
		return 3
	}
	self, err := os.FindProcess(os.Getpid())
	if err != nil {
		return 3
	}
	var passed atomic.Int64
	s, err := server.Open(server.Config{Dir: dir, Faults: func(point string) error {
		if point == os.Getenv(envPoint) && passed.Add(1) == nth {
			if self.Kill() == nil { // SIGKILL
				select {}
			}
		}
		return nil
	}})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 3
	}
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 3
	}
	fmt.Println(lis.Addr())
	if err := s.Serve(context.Background(), lis); err != nil {
		return 3
	}
	return 0
}

// startProcess runs the server in a process of its own.
func startProcess(t *testing.T, dir, point string, nth int) (addr string, cmd *exec.Cmd) {
	t.Helper()
	cmd = exec.Command(os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), envDir+"="+dir, envPoint+"="+point, envNth+"="+strconv.Itoa(nth))
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it is dead already, or dies now
		_ = cmd.Wait()
	})
	line := bufio.NewScanner(out)
	if !line.Scan() {
		t.Fatalf("the server process said nothing: %v", line.Err())
	}
	return line.Text(), cmd
}

func TestInv01_02_03_ServerKilledAtNamedPoints(t *testing.T) {
	t.Parallel()
	for _, point := range []string{journal.FaultAfterWrite, journal.FaultAfterSync, server.FaultAfterAck} {
		for _, nth := range []int{1, 2} {
			t.Run(fmt.Sprintf("%s_%d", point, nth), func(t *testing.T) {
				t.Parallel()
				killAndRecover(t, point, nth)
			})
		}
	}
}

func killAndRecover(t *testing.T, point string, nth int) {
	dir := t.TempDir()
	addr, process := startProcess(t, dir, point, nth)
	c := openBoat(t, t.TempDir())
	conn := dial(t, addr)
	var want []block.Sounding
	for round := 0; ; round++ { // until the point has been passed often enough
		if round == 10 {
			t.Fatal("the server outlived ten syncs")
		}
		more := readings(round*10_000, 6000)
		want = append(want, more...)
		record(t, c, more)
		if _, err := c.Sync(t.Context(), conn); errors.Is(err, client.ErrUnavailable) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	_ = process.Wait() // says that it was killed
	st := status(t, c)
	acknowledged := st.Soundings - st.Waiting

	// What the dead process left must hold what it acknowledged, in order.
	s := startShore(t, dir)
	got := held(t, s.State())
	if uint64(len(got)) < acknowledged {
		t.Fatalf("%d soundings were acknowledged, %d survived", acknowledged, len(got))
	}
	if diff := cmp.Diff(sorted(want)[:len(got)], got); diff != "" {
		t.Fatalf("what survived is not what was sent first (-want +got):\n%s", diff)
	}
	t.Logf("killed %s: %d acknowledged, %d survived of %d", point, acknowledged, len(got), len(want))

	mustSync(t, c, dial(t, s.addr))
	if diff := cmp.Diff(sorted(want), held(t, s.State())); diff != "" {
		t.Errorf("after syncing again (-want +got):\n%s", diff)
	}
	if st := status(t, c); st.Waiting != 0 {
		t.Errorf("%d still waiting", st.Waiting)
	}
}
