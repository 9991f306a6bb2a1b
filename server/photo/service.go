package photo

import (
	"context"
	"errors"
	"fmt"
	"io"

	"google.golang.org/grpc"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
)

// Service is PhotoService on a Store. Who may call, and for which ponds, the guard
// before it has seen to.
type Service struct {
	pb.UnimplementedPhotoServiceServer
	store *Store
}

// NewService returns the service.
func NewService(s *Store) *Service { return &Service{store: s} }

// Register adds the service to a server.
func (s *Service) Register(reg grpc.ServiceRegistrar) { pb.RegisterPhotoServiceServer(reg, s) }

// SendPhoto takes a picture piece by piece.
func (s *Service) SendPhoto(stream grpc.BidiStreamingServer[pb.SendPhotoRequest, pb.SendPhotoResponse]) (err error) {
	first, err := stream.Recv()
	if err != nil {
		return err
	}
	pond, hash, err := named(first.GetPondId(), first.GetSha256())
	if err != nil {
		return err
	}
	in, err := s.store.Receive(tenantOf(stream.Context()), pond, hash, first.GetSizeBytes())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	for {
		if err := stream.Send(&pb.SendPhotoResponse{HeldBytes: in.Held(), Complete: in.Complete()}); err != nil {
			return err
		}
		if in.Complete() {
			return nil
		}
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil // the rest another time
		}
		if err != nil {
			return err
		}
		if err := in.Append(m.GetPiece()); err != nil {
			return err
		}
	}
}

// FetchPhoto hands a picture back.
func (s *Service) FetchPhoto(req *pb.FetchPhotoRequest, stream grpc.ServerStreamingServer[pb.FetchPhotoResponse]) (err error) {
	pond, hash, err := named(req.GetPondId(), req.GetSha256())
	if err != nil {
		return err
	}
	f, err := s.store.Picture(tenantOf(stream.Context()), pond, hash)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if _, err := f.Seek(int64(req.GetFromByte()), io.SeekStart); err != nil {
		return err
	}
	piece := make([]byte, PieceBytes)
	for {
		n, err := io.ReadFull(f, piece)
		if n > 0 {
			if err := stream.Send(&pb.FetchPhotoResponse{Piece: piece[:n]}); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func named(pond, hash []byte) (block.ID, Hash, error) {
	id, err := block.IDFromBytes(pond)
	if err != nil || id.IsZero() || len(hash) != len(Hash{}) {
		return id, Hash{}, fmt.Errorf("%w: the pond and the picture must be named", exchange.ErrProtocol)
	}
	return id, Hash(hash), nil
}

func tenantOf(ctx context.Context) string {
	who, _ := access.From(ctx)
	return who.Tenant
}
