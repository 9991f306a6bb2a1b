package client

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image/jpeg"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// Pictures lie as files in the folder photos of the store: HASH is a whole one,
// HASH.part the front of one that is being fetched, and waiting/POND-HASH, an empty
// file, says that the server has not confirmed it. A picture and its mark are synced
// before the record that names it.
const (
	photosFolder  = "photos"
	waitingFolder = "waiting"
)

const (
	// MaxPhotoBytes is how large a picture may be.
	MaxPhotoBytes = 8 << 20
	photoPiece    = 16 << 10 // 2 s at 64 kbit/s
)

// PhotoHash is the SHA-256 of a picture, its name everywhere.
type PhotoHash [sha256.Size]byte

// ErrPhoto says that bytes are not a picture that can be added. What is wrong stands
// before it.
var ErrPhoto = errors.New("picture cannot be added")

// AddPhoto stores a picture of a pond, a JPEG file of at most MaxPhotoBytes, and
// records it; what picture says of caption, time and place is recorded with it. When
// it returns nil both are on disk for good. The picture itself is sent by a Sync once
// nothing else waits. A picture that was added before is not added again.
func (c *Client) AddPhoto(ctx context.Context, pond block.ID, author string, picture *pb.Photo, file []byte) (PhotoHash, error) {
	h := PhotoHash(sha256.Sum256(file))
	if len(file) > MaxPhotoBytes {
		return h, fmt.Errorf("%w: it is %d bytes long, at most %d: make it smaller first", ErrPhoto, len(file), MaxPhotoBytes)
	}
	shape, err := jpeg.DecodeConfig(bytes.NewReader(file))
	if err != nil {
		return h, fmt.Errorf("%w: it is no JPEG file: %w", ErrPhoto, err)
	}
	things, err := c.Things(ctx, pond)
	if err != nil {
		return h, err
	}
	for _, t := range things {
		if p := t.Message.GetPhoto(); bytes.Equal(p.GetSha256(), h[:]) {
			return h, nil
		}
	}
	if err := errors.Join(c.savePhoto(h, file), c.markPhoto(pond, h)); err != nil {
		return h, fmt.Errorf("client: photo: %w", err)
	}
	_, err = c.Record(ctx, pond, &pb.Record{RecordId: h[:16], Author: author, Kind: &pb.Record_Photo{Photo: &pb.Photo{
		Sha256: h[:], SizeBytes: uint32(len(file)), WidthPx: uint32(shape.Width), HeightPx: uint32(shape.Height),
		Caption: picture.GetCaption(), TakenAt: picture.GetTakenAt(), Place: picture.GetPlace()}}})
	return h, err
}

// Photo returns a picture held on this device, ErrNotFound if it is not.
func (c *Client) Photo(h PhotoHash) ([]byte, error) {
	b, err := os.ReadFile(c.photoPath(h))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNotFound
	}
	return b, err
}

// FetchPhoto returns a picture of a pond, from this device or else from the server;
// it is then held here as well. What a cut has interrupted goes on where it was.
func (c *Client) FetchPhoto(ctx context.Context, conn grpc.ClientConnInterface, pond block.ID, h PhotoHash) ([]byte, error) {
	if b, err := c.Photo(h); !errors.Is(err, ErrNotFound) {
		return b, err
	}
	part := c.photoPath(h) + ".part"
	have, err := os.ReadFile(part)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	all, err := c.fetchFrom(ctx, conn, pond, h, have)
	if err != nil {
		if len(all) > len(have) {
			err = errors.Join(err, c.savePhotoFile(part, all))
		}
		return nil, fmt.Errorf("client: fetch photo: %w", err)
	}
	if PhotoHash(sha256.Sum256(all)) != h {
		return nil, errors.Join(fmt.Errorf("client: fetch photo: %w: it is not the picture that its hash names", ErrServerDamaged), remove(part))
	}
	return all, errors.Join(c.savePhoto(h, all), remove(part))
}

// fetchFrom returns what is held with what the server adds to it, as far as it came.
func (c *Client) fetchFrom(ctx context.Context, conn grpc.ClientConnInterface, pond block.ID, h PhotoHash, have []byte) ([]byte, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	watch := c.watchdog(cancel)
	defer watch.stop()
	stream, err := pb.NewPhotoServiceClient(conn).FetchPhoto(ctx, &pb.FetchPhotoRequest{PondId: pond[:], Sha256: h[:], FromByte: uint32(len(have))})
	if err != nil {
		return have, causeOf(ctx, err)
	}
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return have, nil
		}
		if err != nil {
			return have, causeOf(ctx, err)
		}
		watch.feed()
		if have = append(have, m.GetPiece()...); len(have) > MaxPhotoBytes {
			return nil, fmt.Errorf("%w: a picture without end", ErrServerDamaged)
		}
	}
}

// waitingPhoto is a picture that the server has not confirmed.
type waitingPhoto struct {
	pond block.ID
	hash PhotoHash
	mark string // its file
}

func (c *Client) waitingPhotos() ([]waitingPhoto, error) {
	dir := filepath.Join(c.dir, photosFolder, waitingFolder)
	files, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var out []waitingPhoto
	for _, f := range files {
		w := waitingPhoto{mark: filepath.Join(dir, f.Name())}
		pond, hash, _ := strings.Cut(f.Name(), "-")
		b, hexErr := hex.DecodeString(hash)
		if w.pond.UnmarshalText([]byte(pond)) == nil && hexErr == nil && len(b) == len(w.hash) {
			w.hash = PhotoHash(b)
			out = append(out, w)
		}
	}
	return out, err
}

// sendPhotos sends the pictures that wait, piece by piece, until something else is
// recorded, which goes first; then it returns false.
func (c *Client) sendPhotos(ctx context.Context, conn grpc.ClientConnInterface, r *Result) (done bool, err error) {
	if c.photosHeld.Load() {
		return true, nil
	}
	waiting, err := c.waitingPhotos()
	for _, w := range waiting {
		if done, err := c.sendPhoto(ctx, conn, w, r); !done || err != nil {
			return done, err
		}
	}
	return true, err
}

func (c *Client) sendPhoto(ctx context.Context, conn grpc.ClientConnInterface, w waitingPhoto, r *Result) (done bool, err error) {
	file, err := c.Photo(w.hash)
	if errors.Is(err, ErrNotFound) { // somebody removed the file
		return true, remove(w.mark)
	}
	if err != nil {
		return false, err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	watch := c.watchdog(cancel)
	defer watch.stop()
	stream, err := pb.NewPhotoServiceClient(conn).SendPhoto(ctx)
	if err != nil {
		return false, causeOf(ctx, err)
	}
	next := &pb.SendPhotoRequest{PondId: w.pond[:], Sha256: w.hash[:], SizeBytes: uint32(len(file))}
	for {
		if err := stream.Send(next); err != nil && !errors.Is(err, io.EOF) {
			return false, causeOf(ctx, err)
		}
		m, err := stream.Recv()
		if status.Code(err) == codes.Unimplemented { // a server of earlier days: they wait for a later one
			return true, nil
		}
		if err != nil {
			return false, causeOf(ctx, err)
		}
		watch.feed()
		if m.GetComplete() {
			r.PhotosSent++
			return true, remove(w.mark)
		}
		held := int(m.GetHeldBytes())
		if held >= len(file) {
			return false, fmt.Errorf("%w: it holds %d bytes of a picture of %d", ErrServerDamaged, held, len(file))
		}
		if len(next.GetPiece()) > 0 && c.somethingRecorded() {
			return false, nil
		}
		next = &pb.SendPhotoRequest{Piece: file[held:min(held+photoPiece, len(file))]}
		r.PhotoBytes += len(next.GetPiece())
	}
}

// HoldPhotos keeps pictures on the device, or lets them go again: on a metered network
// they can wait. The next sync minds it.
func (c *Client) HoldPhotos(hold bool) { c.photosHeld.Store(hold) }

func (c *Client) photoPath(h PhotoHash) string {
	return filepath.Join(c.dir, photosFolder, hex.EncodeToString(h[:]))
}

func (c *Client) savePhoto(h PhotoHash, file []byte) error {
	return c.savePhotoFile(c.photoPath(h), file)
}

func (c *Client) savePhotoFile(path string, file []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".new-")
	if err != nil {
		return err
	}
	_, err = f.Write(file)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return errors.Join(os.Rename(f.Name(), path), syncFolder(filepath.Dir(path)))
}

func (c *Client) markPhoto(pond block.ID, h PhotoHash) error {
	return c.savePhotoFile(filepath.Join(c.dir, photosFolder, waitingFolder, pond.String()+"-"+hex.EncodeToString(h[:])), nil)
}

// remove removes a file that may be gone.
func remove(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}
