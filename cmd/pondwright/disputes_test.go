package main

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// TestDisputes_ListAndSettle: two boats say, each by itself, where the mast stands and
// what the pond is called; a person settles both on one of them.
func TestDisputes_ListAndSettle(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	addr, _ := startServer(t, filepath.Join(dir, "office"))
	boats := []string{filepath.Join(dir, "a"), filepath.Join(dir, "b")}
	pond := block.PondID("Mill Bottom")
	for i, store := range boats {
		c, err := client.Open(t.Context(), store)
		if err != nil {
			t.Fatal(err)
		}
		author := []string{"Ann", "Ben"}[i]
		for _, rec := range []*pb.Record{
			{Author: author, Kind: &pb.Record_MastSite{MastSite: &pb.MastSite{LatDeg: 38.31 + float64(i), LonDeg: -93}}},
			{Author: author, Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: []string{"Mill Bottom", "Mill bottom, lower"}[i]}}},
		} {
			if _, err := c.Record(t.Context(), pond, rec); err != nil {
				t.Fatal(err)
			}
		}
		if err := c.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if out, _ := mustRun(t, "disputes", "--store", boats[0]); !strings.Contains(out, "nothing is in dispute") {
		t.Errorf("before a sync:\n%s", out)
	}
	for _, store := range []string{boats[0], boats[1], boats[0]} {
		mustRun(t, "sync", "--store", store, "--server", addr)
	}

	out, _ := mustRun(t, "disputes", "--store", boats[0])
	for _, want := range []string{"until it is settled", "Ann, 20", "Ben, 20", `"lat_deg":38.31`, `"lat_deg":39.31`, `"Mill Bottom"`, `"Mill bottom, lower"`, "  name\n"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not listed:\n%s", want, out)
		}
	}
	mast := regexp.MustCompile(`mast_site-[0-9a-f]{8}`).FindString(out)
	name := regexp.MustCompile(`pond-[0-9a-f]{8}`).FindString(out)
	type claim struct {
		Side, Author string
		Value        any
	}
	type dispute struct {
		Thing  string
		Blocks bool
		Points []struct {
			Field  string
			Claims []claim
		}
	}
	sideOf := func(thing, author string) string {
		text, _ := mustRun(t, "disputes", "--store", boats[0], "--json")
		for _, d := range decode[[]dispute](t, text) {
			for _, c := range d.Points[0].Claims {
				if d.Thing == thing && c.Author == author && d.Blocks == (thing == mast) {
					return c.Side
				}
			}
		}
		t.Fatalf("no side of %s in %s:\n%s", author, thing, text)
		return ""
	}
	bensMast, annsName := sideOf(mast, "Ben"), sideOf(name, "Ann")
	for _, wrong := range [][]string{{mast, "c"}, {mast, "lat=a"}, {mast, "a", "name=a"}, {"mast_site-00000000", "a"}} {
		if status, _, errs := run(t, append([]string{"disputes", "settle", "--store", boats[0], "--by", "Owner"}, wrong...)...); status == exitDone || errs == "" {
			t.Errorf("settle %v: status %d, %q", wrong, status, errs)
		}
	}
	mustRun(t, "disputes", "settle", "--store", boats[0], "--by", "Owner", mast, bensMast)
	mustRun(t, "disputes", "settle", "--store", boats[0], "--by", "Owner", name, "name="+annsName)
	for _, store := range boats {
		mustRun(t, "sync", "--store", store, "--server", addr)
		if out, _ := mustRun(t, "disputes", "--store", store); !strings.Contains(out, "nothing is in dispute") {
			t.Errorf("after settling, %s:\n%s", store, out)
		}
	}
	c, err := client.Open(t.Context(), boats[1])
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	things, err := c.Things(t.Context(), pond)
	if err != nil {
		t.Fatal(err)
	}
	for _, th := range things {
		if m := th.Message.GetMastSite(); m != nil && (m.GetLatDeg() != 39.31 || th.Message.GetAuthor() != "Owner") {
			t.Errorf("the mast is %v", th.Message)
		}
		if p := th.Message.GetPond(); p != nil && p.GetName() != "Mill Bottom" {
			t.Errorf("the pond is %v", th.Message)
		}
	}
}
