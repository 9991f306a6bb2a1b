package survey

import (
	"context"
	"encoding/binary"
	"errors"
	"slices"
	"sync"
	"time"

	"github.com/golang/geo/s2"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"pondwright/geo/bed"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

const (
	// tilesPerMessage bounds a message of FollowTiles: 16 tiles of level 22 take some
	// 200 KB.
	tilesPerMessage = 16
	// lookEvery is how often a follower's pond is looked at.
	lookEvery = 500 * time.Millisecond
)

// FollowTiles hands out the tiles that changed since a cursor and, where that is
// asked for, those that change later. The cursor holds a checksum of every tile, so
// that the server remembers nothing of its readers, and a restored or another server
// serves them as well.
func (s *Service) FollowTiles(req *pb.FollowTilesRequest, stream grpc.ServerStreamingServer[pb.FollowTilesResponse]) error {
	id, err := block.IDFromBytes(req.GetPondId())
	if err != nil {
		return err
	}
	level := int(req.GetCellLevel())
	if level == 0 {
		level = bed.UsualTileLevel
	}
	if level < bed.LeastTileLevel {
		return &Refusal{Code: codes.InvalidArgument, Reason: pb.Reason_REASON_FIELD_INVALID, Field: "cell_level", Remedy: "ask for 17 to 22, or 0 for the usual one", Err: errLevel}
	}
	ctx := stream.Context()
	known := parseCursor(req.GetCursor(), id, level)
	var last *Pond
	for first := true; ; first = false {
		_, version, err := s.open(ctx, id)
		if err != nil {
			return err
		}
		pond, err := s.Measured(ctx, id, nil)
		if err != nil {
			return err
		}
		if pond != last {
			last = pond
			tiles, err := pond.tiles.at(ctx, pond.Report.Bed, level)
			if err != nil {
				return err
			}
			if known, err = send(stream, known, tiles, cursorHead(id, level), first); err != nil {
				return err
			}
		}
		if !req.GetFollow() {
			return nil
		}
		if err := s.awaitChange(ctx, id, version); err != nil {
			return err
		}
	}
}

var errLevel = errors.New("cell_level: the smaller cells of a tile are of level 17 at least")

// awaitChange returns once the pond has another version than was, or the context is
// done.
func (s *Service) awaitChange(ctx context.Context, id block.ID, was uint64) error {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
		_, is, err := s.open(ctx, id)
		if err != nil || is != was {
			return err
		}
	}
}

// send sends what differs from the checksums the reader has, and returns those it
// has then. Without a difference it sends the cursor alone, if it must.
func send(stream grpc.ServerStreamingServer[pb.FollowTilesResponse], known map[s2.CellID]uint64, tiles []bed.Tile, head []byte, must bool) (map[s2.CellID]uint64, error) {
	now, cursor := make(map[s2.CellID]uint64, len(tiles)), head
	batch := new(pb.FollowTilesResponse)
	for k := range tiles {
		t := &tiles[k]
		sum := t.Sum()
		now[t.Cell] = sum
		cursor = binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(cursor, uint64(t.Cell)), sum)
		if was, ok := known[t.Cell]; ok && was == sum {
			continue
		}
		must = true
		batch.Tiles = append(batch.Tiles, &pb.DepthTile{CellToken: t.Cell.ToToken(), CellLevel: uint32(t.Level), DepthCm: t.DepthCM, SdCm: t.SDCM})
		if len(batch.GetTiles()) == tilesPerMessage {
			if err := stream.Send(batch); err != nil {
				return nil, err
			}
			batch = new(pb.FollowTilesResponse)
		}
	}
	for cell := range known {
		if _, ok := now[cell]; !ok {
			must = true
			batch.Gone = append(batch.Gone, cell.ToToken())
		}
	}
	slices.Sort(batch.GetGone())
	if !must {
		return now, nil
	}
	batch.Cursor = cursor
	return now, stream.Send(batch)
}

// cursorVersion is that of the layout: version, level, pond, and then for each tile
// its id and its checksum, big-endian.
const cursorVersion = 1

func cursorHead(id block.ID, level int) []byte {
	return append([]byte{cursorVersion, byte(level)}, id[:]...)
}

// parseCursor returns the checksums in a cursor; none for one that is not of this
// pond and level.
func parseCursor(cursor []byte, id block.ID, level int) map[s2.CellID]uint64 {
	known := make(map[s2.CellID]uint64)
	head := cursorHead(id, level)
	const entry = 16
	if len(cursor) < len(head) || !slices.Equal(cursor[:len(head)], head) || (len(cursor)-len(head))%entry != 0 {
		return known
	}
	for rest := cursor[len(head):]; len(rest) > 0; rest = rest[entry:] {
		known[s2.CellID(binary.BigEndian.Uint64(rest))] = binary.BigEndian.Uint64(rest[8:])
	}
	return known
}

// tiles are a measured pond's tiles, by the level of their cells.
type tiles struct {
	mu      sync.Mutex
	byLevel map[int][]bed.Tile
}

// at returns the tiles that hold water, worked out once for each level.
func (t *tiles) at(ctx context.Context, b *bed.Bed, level int) ([]bed.Tile, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if list, ok := t.byLevel[level]; ok {
		return list, nil
	}
	var list []bed.Tile
	for _, cell := range b.Tiles() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		tile, err := b.Tile(cell, level)
		if err != nil {
			return nil, err
		}
		if tile.Wet() {
			list = append(list, tile)
		}
	}
	if t.byLevel == nil {
		t.byLevel = make(map[int][]bed.Tile)
	}
	t.byLevel[level] = list
	return list, nil
}
