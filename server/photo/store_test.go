package photo

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"pondwright/proto/block"
)

var (
	mill  = block.PondID("Mill bottom")
	heron = block.PondID("Heron Hollow")
)

func picture(n int) ([]byte, Hash) {
	draw := rand.New(rand.NewPCG(uint64(n), 1))
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(draw.Uint32())
	}
	return b, sha256.Sum256(b)
}

// send appends pieces until the picture is complete, at most n of them.
func send(t *testing.T, s *Store, pond block.ID, b []byte, h Hash, n int) (complete bool) {
	t.Helper()
	in, err := s.Receive("default", pond, h, uint32(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	for range n {
		if in.Complete() {
			break
		}
		rest := b[in.Held():]
		if err := in.Append(rest[:min(len(rest), PieceBytes)]); err != nil {
			t.Fatal(err)
		}
	}
	return in.Complete()
}

func held(s *Store, pond block.ID, h Hash) ([]byte, error) {
	f, err := s.Picture("default", pond, h)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(f)
}

// TestStore_GoesOnWhereItStopped: a picture in several tries, with the store opened
// anew between them, is there once, and only for the ponds for which it was sent.
func TestStore_GoesOnWhereItStopped(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	b, h := picture(5*PieceBytes + 77)
	for i := range 3 {
		s := Open(dir)
		if complete := send(t, s, mill, b, h, 2); complete != (i == 2) {
			t.Fatalf("after %d tries complete is %v", i+1, complete)
		}
		if _, err := held(s, mill, h); (err == nil) != (i == 2) || err != nil && !errors.Is(err, ErrNotFound) {
			t.Fatalf("after %d tries: %v", i+1, err)
		}
	}
	s := Open(dir)
	if got, err := held(s, mill, h); err != nil || !bytes.Equal(got, b) {
		t.Errorf("handed back %d bytes, %v", len(got), err)
	}
	if _, err := held(s, heron, h); !errors.Is(err, ErrNotFound) {
		t.Errorf("for a pond for which it was not sent: %v", err)
	}
	if _, err := s.Picture("other", mill, h); !errors.Is(err, ErrNotFound) {
		t.Errorf("for another tenant: %v", err)
	}
	if send(t, s, heron, b, h, 1) {
		t.Error("who only names a picture has it for another pond")
	}
	if !send(t, s, heron, b, h, 10) {
		t.Error("not complete")
	}
	files, err := os.ReadDir(filepath.Join(dir, "default", "all"))
	if err != nil || len(files) != 1 {
		t.Errorf("%d files, %v: want the picture once", len(files), err)
	}
}

func TestStore_Refuses(t *testing.T) {
	t.Parallel()
	s := Open(t.TempDir())
	b, h := picture(1000)
	for _, size := range []uint32{0, MaxBytes + 1} {
		if _, err := s.Receive("default", mill, h, size); !errors.As(err, new(*TooLargeError)) {
			t.Errorf("%d bytes: %v", size, err)
		}
	}
	in, err := s.Receive("default", mill, h, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for name, piece := range map[string][]byte{"nothing": nil, "beyond the end": make([]byte, 1001), "too long": make([]byte, PieceBytes+1)} {
		if err := in.Append(piece); !errors.Is(err, ErrPiece) {
			t.Errorf("%s: %v, want ErrPiece", name, err)
		}
	}
	if err := in.Append(make([]byte, 1000)); !errors.Is(err, ErrCorrupt) {
		t.Errorf("other bytes: %v, want ErrCorrupt", err)
	}
	if err := in.Close(); err != nil {
		t.Error(err)
	}
	if !send(t, s, mill, b, h, 1) { // what was wrong is gone
		t.Error("the right bytes were not taken afterwards")
	}
}

// TestStore_TwoSendersOfOnePicture: the first to write goes on, the other is told.
func TestStore_TwoSendersOfOnePicture(t *testing.T) {
	t.Parallel()
	s := Open(t.TempDir())
	b, h := picture(2 * PieceBytes)
	var both [2]*Incoming
	for i := range both {
		in, err := s.Receive("default", mill, h, uint32(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		defer in.Close()
		both[i] = in
	}
	if err := both[1].Append(b[:PieceBytes]); err != nil {
		t.Fatal(err)
	}
	if err := both[0].Append(b[:PieceBytes]); !errors.Is(err, ErrOvertook) {
		t.Errorf("the other: %v, want ErrOvertook", err)
	}
	if err := both[1].Append(b[PieceBytes:]); err != nil || !both[1].Complete() {
		t.Errorf("the first: %v", err)
	}
	if err := both[0].Append(b[:PieceBytes]); !errors.Is(err, ErrOvertook) {
		t.Errorf("the other after the end: %v, want ErrOvertook", err)
	}
}
