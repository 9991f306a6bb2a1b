package main

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPhotos_FromBoatToOffice: a picture added on a boat is listed and put into a folder
// from another device's store.
func TestPhotos_FromBoatToOffice(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var file bytes.Buffer
	if err := jpeg.Encode(&file, image.NewGray(image.Rect(0, 0, 64, 48)), nil); err != nil {
		t.Fatal(err)
	}
	addr, _ := startServer(t, filepath.Join(dir, "office"))
	boat, desk, out := filepath.Join(dir, "boat"), filepath.Join(dir, "desk"), filepath.Join(dir, "out")
	picture := write(t, "the dam.jpg", file.String())
	mustRun(t, "add", "--store", boat, "--pond", "Mill Bottom", "--by", "Ann", picture)
	mustRun(t, "add", "--store", desk, "--pond", "Mill Bottom", write(t, "pond.geojson", square))
	if got, _ := mustRun(t, "sync", "--store", boat, "--server", addr, "--hold-photos"); strings.Contains(got, "picture") {
		t.Errorf("a picture held back was sent: %s", got)
	}
	mustRun(t, "sync", "--store", desk, "--server", addr)
	if got, _ := mustRun(t, "photos", "--store", desk, "--server", addr, "--out", out); !strings.Contains(got, "not on the server yet") {
		t.Errorf("before it was sent:\n%s", got)
	}
	if got, _ := mustRun(t, "sync", "--store", boat, "--server", addr); !strings.Contains(got, "sent 1 pictures") {
		t.Errorf("sync: %s", got)
	}
	if got, _ := mustRun(t, "photos", "--store", desk); !strings.Contains(got, "64 x 48") || !strings.Contains(got, "by Ann: the dam (not here)") {
		t.Errorf("list:\n%s", got)
	}
	mustRun(t, "photos", "--store", desk, "--server", addr, "--out", out)
	found, err := filepath.Glob(filepath.Join(out, "*.jpg"))
	if err != nil || len(found) != 1 {
		t.Fatalf("files %v, %v", found, err)
	}
	if got, err := os.ReadFile(found[0]); err != nil || !bytes.Equal(got, file.Bytes()) {
		t.Errorf("%d bytes, %v", len(got), err)
	}
	if status, _, errs := run(t, "add", "--store", boat, "--pond", "Mill Bottom", write(t, "broken.jpg", "\xff\xd8\xff broken")); status != exitFailed || !strings.Contains(errs, "no JPEG file") {
		t.Errorf("a broken picture: status %d, %q", status, errs)
	}
}
