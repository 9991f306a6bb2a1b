package main

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
)

// A spike goes from the boat to the office and is left out by rule; what a person
// says of it on the boat, and says anew, is what the office then goes by.
func TestVerdict_FromBoatToOffice(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(smallSoundings(t, "day.csv", "", 1, nothing))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(text), "\n")
	cells := strings.Split(lines[200], ",")
	cells[2] = "9.5"
	lines[200] = strings.Join(cells, ",")
	spiked := write(t, "spiked.csv", strings.Join(lines, "\n"))

	boat := filepath.Join(t.TempDir(), "boat")
	mustRun(t, "add", "--store", boat, "--pond", "Round", smallOutline(t, ""), spiked)
	m := Main{Out: io.Discard, Err: io.Discard}
	srv, lis, err := m.openServer(t.Context(), "127.0.0.1:0", t.TempDir(), false, 0, server.Answers(nil))
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- srv.Serve(t.Context(), lis) }()
	t.Cleanup(func() {
		if err := errors.Join(srv.Close(), <-served); err != nil {
			t.Error(err)
		}
	})
	conn, err := client.Dial(lis.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	pond := block.PondID("Round")
	// find syncs and returns the sounding of 9.5 m.
	find := func() *pb.Sounding {
		t.Helper()
		mustRun(t, "sync", "--store", boat, "--server", lis.Addr().String())
		stream, err := pb.NewSurveyServiceClient(conn).ListSoundings(t.Context(), &pb.ListSoundingsRequest{PondId: pond[:]})
		if err != nil {
			t.Fatal(err)
		}
		for {
			batch, err := stream.Recv()
			if err != nil {
				t.Fatalf("no sounding of 9.5 m: %v", err)
			}
			for _, s := range batch.GetSoundings() {
				if s.GetReadingM() == 9.5 {
					return s
				}
			}
		}
	}
	s := find()
	if s.GetFlag() != pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_RULE || !strings.Contains(s.GetFlagRule(), "limit") {
		t.Fatalf("before anybody looked: %v, %q", s.GetFlag(), s.GetFlagRule())
	}
	verdict := func(how ...string) *pb.Sounding {
		t.Helper()
		mustRun(t, append([]string{"verdict", "--store", boat, "--pond", "Round", "--log", hex.EncodeToString(s.GetLogId()),
			"--number", fmt.Sprint(s.GetSeq()), "--because", "a hole, sounded twice", "--by", "crew"}, how...)...)
		return find()
	}
	if got := verdict("--accept"); got.GetFlag() != pb.SoundingFlag_SOUNDING_FLAG_ACCEPTED_BY_PERSON || got.GetDepthM() != 9.5 || !strings.Contains(got.GetFlagRule(), "hole") {
		t.Errorf("accepted: %v", got)
	}
	if got := verdict("--adjust", "10ft"); got.GetFlag() != pb.SoundingFlag_SOUNDING_FLAG_ADJUSTED_BY_PERSON || math.Abs(got.GetDepthM()-3.048) > 1e-9 || got.GetReadingM() != 9.5 {
		t.Errorf("adjusted: %v", got)
	}
	if got := verdict("--reject"); got.GetFlag() != pb.SoundingFlag_SOUNDING_FLAG_REJECTED_BY_PERSON {
		t.Errorf("rejected: %v", got)
	}
	for _, bad := range [][]string{{"--accept", "--reject"}, {}, {"--adjust", "-3ft"}} {
		args := append([]string{"verdict", "--store", boat, "--pond", "Round", "--log", hex.EncodeToString(s.GetLogId()), "--number", "1", "--because", "x", "--by", "y"}, bad...)
		if status, _, _ := run(t, args...); status == exitDone {
			t.Errorf("%v was taken", bad)
		}
	}
}

// What a person says of draft, plate and level on the command line counts.
func TestMeasure_Gear(t *testing.T) {
	t.Parallel()
	shoreline := smallOutline(t, `"water_level_m":100`)
	day := smallSoundings(t, "day.csv", "", 1, nothing)
	volume := func(args ...string) float64 {
		t.Helper()
		out, _ := mustRun(t, append([]string{"measure", "--shoreline", shoreline, "--soundings", day, "--json"}, args...)...)
		return decode[jsonReport](t, out).VolumeM3.Value
	}
	plain := volume()
	if got := volume("--water-level", "100.1m"); got >= plain {
		t.Errorf("%.0f m³ with the water a tenth of a meter higher that day, %.0f without", got, plain)
	}
	status, out, errs := run(t, "measure", "--shoreline", shoreline, "--soundings", day, "--json", "--water-level", "101m")
	if status != exitFailed || !strings.Contains(errs, "LEVELS_APART") || !strings.Contains(out, "draw the shoreline again") {
		t.Errorf("a meter apart: status %d\n%s\n%s", status, out, errs)
	}
	if status, _, errs := run(t, "measure", "--shoreline", smallOutline(t, ""), "--soundings", day, "--water-level", "100m"); status != exitFailed || !strings.Contains(errs, "LEVEL_UNKNOWN") {
		t.Errorf("an outline without a level: status %d, %s", status, errs)
	}
	prose, _ := mustRun(t, "measure", "--shoreline", shoreline, "--soundings", day)
	if !strings.Contains(prose, "nothing checks them") {
		t.Errorf("lines that never cross:\n%s", prose)
	}
}
