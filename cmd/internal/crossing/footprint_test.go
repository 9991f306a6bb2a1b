package crossing

import (
	"io/fs"
	"path/filepath"
	"runtime"
	"testing"

	"pondwright/client"
	"pondwright/proto/block"
)

// heap returns the live heap after two collections: the second frees what finalizers
// held.
func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// folder returns the space that the files in a folder take, by their lengths.
func folder(t *testing.T, dir string) int64 {
	t.Helper()
	var sum int64
	if err := filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			sum += info.Size()
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return sum
}

// TestFootprint_IdleHeap: an open device with an empty store holds at most 25 MB.
//
//nolint:paralleltest // it measures with the process to itself
func TestFootprint_IdleHeap(t *testing.T) {
	before := heap()
	c, err := client.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	grown := int64(heap()) - int64(before)
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	t.Logf("%.1f MB of heap", float64(grown)/1e6)
	if grown > 25e6 {
		t.Errorf("an idle device holds %d bytes of heap, at most 25 MB", grown)
	}
}

// TestFootprint_Disk: 100,000 soundings take, once the store is closed, at most three
// times the blocks that hold them and 4 MiB.
func TestFootprint_Disk(t *testing.T) {
	t.Parallel()
	const n = 100_000
	dir := t.TempDir()
	c, err := client.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	all := track(n, 1)
	payload := int64(0)
	for i := 0; i < n; i += block.MaxCount {
		record(t, c, all[i:i+block.MaxCount])
		frame, _, err := block.Seal(block.Header{Log: block.ID{1}, Pond: pond, FirstSeq: 1, Pass: block.ID{7}, Author: "crew", Device: block.ID{2}},
			block.Payload{Soundings: all[i : i+block.MaxCount]}, block.Predicted)
		if err != nil {
			t.Fatal(err)
		}
		payload += int64(len(frame))
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	took := folder(t, dir)
	t.Logf("%.2f MB on disk for %.2f MB of blocks", float64(took)/1e6, float64(payload)/1e6)
	if most := 4<<20 + 3*payload; took > most {
		t.Errorf("%d bytes on disk, at most %d", took, most)
	}
}
