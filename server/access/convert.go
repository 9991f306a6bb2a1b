package access

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// Conversion between the messages of DeviceService and what the rest works with.

var roleMessages = map[Role]pb.Role{
	Crew: pb.Role_ROLE_CREW, Designer: pb.Role_ROLE_DESIGNER, Reader: pb.Role_ROLE_READER, Admin: pb.Role_ROLE_ADMIN,
}

func grantOf(m *pb.Grant) (Grant, error) {
	g := Grant{AllPonds: m.GetAllPonds()}
	for _, role := range Roles() {
		if roleMessages[role] == m.GetRole() {
			g.Role = role
		}
	}
	if !g.AllPonds {
		for _, b := range m.GetPondIds() {
			id, err := block.IDFromBytes(b)
			if err != nil {
				return Grant{}, invalid("grant.pond_ids: %v", err)
			}
			g.Ponds = append(g.Ponds, id)
		}
	}
	return g, g.Validate()
}

func grantMessage(g Grant) *pb.Grant {
	m := &pb.Grant{Role: roleMessages[g.Role], AllPonds: g.AllPonds}
	for _, id := range g.Ponds {
		m.PondIds = append(m.PondIds, id[:])
	}
	return m
}

func certificateMessage(c Certificate) *pb.Certificate {
	return &pb.Certificate{Der: c.Device, AuthorityDer: c.Authority, ExpiresAt: timestamppb.New(c.Expires)}
}

// DeviceMessage returns a device as other programs read it.
func DeviceMessage(d Device) *pb.Device {
	m := &pb.Device{DeviceId: d.ID[:], Name: d.Name, Grant: grantMessage(d.Grant),
		EnrolledAt: timestamppb.New(d.Enrolled), ExpiresAt: timestamppb.New(d.Expires)}
	if !d.Revoked.IsZero() {
		m.RevokedAt = timestamppb.New(d.Revoked)
	}
	if !d.Forked.IsZero() {
		m.PossibleCloneAt = timestamppb.New(d.Forked)
	}
	return m
}
