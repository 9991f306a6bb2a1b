// Package photo keeps pictures: each once for a tenant, named for its hash, and
// handed back under each pond for which it was sent.
//
//	pictures, err := photo.Open(dir)
//	photo.NewService(pictures).Register(grpcServer)
//
// They are plain files, since nothing is ever asked of them but their bytes. In the
// folder of a tenant lie all/HASH, a whole picture; all/HASH.part, the front of one
// that is still being sent; and POND/HASH, an empty file that says that the picture
// was sent for the pond.
package photo

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"pondwright/proto/block"
)

// The sizes that are taken.
const (
	MaxBytes   = 8 << 20  // of a picture
	PieceBytes = 16 << 10 // of a message: 2 s at 64 kbit/s, the most that is sent twice after a cut
)

// Errors that a caller can act on.
var (
	ErrNotFound = errors.New("no such picture here, or not all of it was sent yet")
	ErrCorrupt  = errors.New("what was sent is not the picture that its hash names: send it again")
	ErrPiece    = errors.New("a piece is empty, too long or reaches beyond the end")
	ErrOvertook = errors.New("another connection sends the same picture: ask again how much is held")
)

// TooLargeError says that a picture is larger than is taken.
type TooLargeError struct{ Bytes, Most uint32 }

// Error says how large a picture may be.
func (e *TooLargeError) Error() string {
	return fmt.Sprintf("the picture is %d bytes long, at most %d: make it smaller first", e.Bytes, e.Most)
}

// Hash names a picture: the SHA-256 of its bytes.
type Hash [sha256.Size]byte

// Store is a folder of pictures. It is safe for concurrent use.
type Store struct {
	dir string

	writing [64]sync.Mutex // by the first byte of the hash, held while a piece is written
}

// Open returns the pictures in dir, which is made when the first comes.
func Open(dir string) *Store { return &Store{dir: dir} }

func (s *Store) whole(tenant string, h Hash) string {
	return filepath.Join(s.dir, tenant, "all", hex.EncodeToString(h[:]))
}

func (s *Store) mark(tenant string, pond block.ID, h Hash) string {
	return filepath.Join(s.dir, tenant, pond.String(), hex.EncodeToString(h[:]))
}

// Incoming is a picture on its way in. Where two devices send the same one, or one
// does over a second connection, the first to write a piece goes on.
type Incoming struct {
	s      *Store
	tenant string
	pond   block.ID
	hash   Hash
	size   uint32
	part   *os.File // nil once nothing more is taken
	held   uint32
	whole  bool // all is there and the hash holds
}

// Receive begins to take a picture for a pond, or goes on: see Held. A picture that is
// held for another pond is taken again: who names it may not know it. The caller must
// Close what it gets.
func (s *Store) Receive(tenant string, pond block.ID, h Hash, size uint32) (*Incoming, error) {
	if size == 0 || size > MaxBytes {
		return nil, &TooLargeError{size, MaxBytes}
	}
	in := &Incoming{s: s, tenant: tenant, pond: pond, hash: h, size: size}
	defer s.write(h)()
	if err := in.open(s.whole(tenant, h)); err != nil {
		return nil, fmt.Errorf("picture %x: %w", h[:4], err)
	}
	return in, nil
}

func (s *Store) write(h Hash) (done func()) {
	m := &s.writing[int(h[0])%len(s.writing)]
	m.Lock()
	return m.Unlock
}

func (in *Incoming) open(path string) error {
	_, err := os.Stat(in.s.mark(in.tenant, in.pond, in.hash))
	if err == nil {
		in.held, in.whole = in.size, true
		return nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	if in.part, err = os.OpenFile(path+".part", os.O_CREATE|os.O_RDWR, 0o600); err != nil {
		return err
	}
	info, err := in.part.Stat()
	if err == nil && info.Size() >= int64(in.size) { // another length was said before
		err = in.part.Truncate(0)
	} else if err == nil {
		in.held = uint32(info.Size())
	}
	if err != nil {
		return errors.Join(err, in.part.Close())
	}
	return nil
}

// Held returns how many bytes are on disk: the next piece starts there.
func (in *Incoming) Held() uint32 { return in.held }

// Complete reports whether all of it is there.
func (in *Incoming) Complete() bool { return in.whole }

// Append stores the next piece, synced. With the last one the picture is checked and
// given its name; ErrCorrupt says that nothing of it was kept.
func (in *Incoming) Append(piece []byte) error {
	if in.part == nil || len(piece) == 0 || len(piece) > PieceBytes || uint64(in.held)+uint64(len(piece)) > uint64(in.size) {
		return ErrPiece
	}
	defer in.s.write(in.hash)()
	info, err := os.Stat(in.part.Name())
	if err != nil || info.Size() != int64(in.held) {
		return ErrOvertook
	}
	if _, err := in.part.WriteAt(piece, int64(in.held)); err != nil {
		return err
	}
	if err := in.part.Sync(); err != nil {
		return err
	}
	if in.held += uint32(len(piece)); in.held < in.size {
		return nil
	}
	return in.finish()
}

func (in *Incoming) finish() error {
	part := in.part
	in.part = nil
	d := sha256.New()
	_, err := io.Copy(d, io.NewSectionReader(part, 0, int64(in.size)))
	if err = errors.Join(err, part.Close()); err != nil {
		return err
	}
	if Hash(d.Sum(nil)) != in.hash {
		return errors.Join(ErrCorrupt, os.Remove(part.Name()))
	}
	path := in.s.whole(in.tenant, in.hash)
	if err := errors.Join(os.Rename(part.Name(), path), syncFolder(filepath.Dir(path))); err != nil {
		return err
	}
	if err := in.markPond(); err != nil {
		return err
	}
	in.whole = true
	return nil
}

// markPond notes that the picture was sent for the pond.
func (in *Incoming) markPond() error {
	path := in.s.mark(in.tenant, in.pond, in.hash)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close(), syncFolder(filepath.Dir(path)))
}

// Close ends it. What is held stays.
func (in *Incoming) Close() error {
	if in.part == nil {
		return nil
	}
	return in.part.Close()
}

// Picture opens a whole picture that was sent for a pond, or returns ErrNotFound.
func (s *Store) Picture(tenant string, pond block.ID, h Hash) (io.ReadSeekCloser, error) {
	if _, err := os.Stat(s.mark(tenant, pond, h)); err != nil {
		return nil, notFound(err)
	}
	f, err := os.Open(s.whole(tenant, h))
	if err != nil {
		return nil, notFound(err)
	}
	return f, nil
}

func notFound(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return ErrNotFound
	}
	return err
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
