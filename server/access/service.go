package access

import (
	"context"
	"net"

	"google.golang.org/grpc"
	"google.golang.org/grpc/peer"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/proto/block"
	"pondwright/proto/invite"
	pb "pondwright/proto/pondwright/v1"
)

// Service is the device service: the registry for those who call from elsewhere.
type Service struct {
	pb.UnimplementedDeviceServiceServer

	registry *Registry
	guard    *Guard
	tries    *tries
}

// NewService returns the service. What it changes, the guard hears at once.
func NewService(r *Registry, g *Guard) *Service {
	return &Service{registry: r, guard: g, tries: newTries()}
}

// Register makes the service answer on reg.
func (s *Service) Register(reg grpc.ServiceRegistrar) { pb.RegisterDeviceServiceServer(reg, s) }

// Invite makes a code for the caller's tenant.
func (s *Service) Invite(ctx context.Context, req *pb.InviteRequest) (*pb.InviteResponse, error) {
	g, err := grantOf(req.GetGrant())
	if err != nil {
		return nil, err
	}
	i, err := s.registry.Invite(tenantOf(ctx), g)
	if err != nil {
		return nil, err
	}
	return &pb.InviteResponse{Text: i.Text.String(), ExpiresAt: timestamppb.New(i.Expires)}, nil
}

// Enroll lets a device in that brings a code.
func (s *Service) Enroll(ctx context.Context, req *pb.EnrollRequest) (*pb.EnrollResponse, error) {
	var from net.Addr
	if p, ok := peer.FromContext(ctx); ok {
		from = p.Addr
	}
	if wait := s.tries.try(from, s.registry.opt.Now()); wait > 0 {
		return nil, tooMany(wait)
	}
	e, err := s.registry.Enroll(invite.Code(req.GetCode()), req.GetCsr(), req.GetName())
	if err != nil {
		return nil, err
	}
	return &pb.EnrollResponse{DeviceId: e.Device[:], Certificate: certificateMessage(e.Certificate), Grant: grantMessage(e.Grant)}, nil
}

// Renew issues a further certificate to the caller.
func (s *Service) Renew(ctx context.Context, _ *pb.RenewRequest) (*pb.RenewResponse, error) {
	cert := certificateOf(ctx)
	if cert == nil {
		return nil, ErrNoCredential
	}
	c, err := s.registry.Renew(cert)
	if err != nil {
		return nil, err
	}
	return &pb.RenewResponse{Certificate: certificateMessage(c)}, nil
}

// Revoke shuts a device out and ends its streams.
func (s *Service) Revoke(ctx context.Context, req *pb.RevokeRequest) (*pb.RevokeResponse, error) {
	id, err := block.IDFromBytes(req.GetDeviceId())
	if err != nil {
		return nil, invalid("device_id: %v", err)
	}
	if err := s.registry.Revoke(tenantOf(ctx), id); err != nil {
		return nil, err
	}
	return &pb.RevokeResponse{}, s.guard.Recheck()
}

// SetGrant changes what a device may do and ends its streams.
func (s *Service) SetGrant(ctx context.Context, req *pb.SetGrantRequest) (*pb.SetGrantResponse, error) {
	id, err := block.IDFromBytes(req.GetDeviceId())
	if err != nil {
		return nil, invalid("device_id: %v", err)
	}
	g, err := grantOf(req.GetGrant())
	if err != nil {
		return nil, err
	}
	if err := s.registry.SetGrant(tenantOf(ctx), id, g); err != nil {
		return nil, err
	}
	return &pb.SetGrantResponse{}, s.guard.Recheck()
}

// ListDevices lists the devices of the caller's tenant.
func (s *Service) ListDevices(ctx context.Context, _ *pb.ListDevicesRequest) (*pb.ListDevicesResponse, error) {
	devices, err := s.registry.Devices(tenantOf(ctx))
	if err != nil {
		return nil, err
	}
	out := new(pb.ListDevicesResponse)
	for _, d := range devices {
		out.Devices = append(out.Devices, DeviceMessage(d))
	}
	return out, nil
}

func tenantOf(ctx context.Context) string {
	who, _ := From(ctx)
	return who.Tenant
}
