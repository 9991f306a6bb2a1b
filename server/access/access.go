// Package access lets devices in and out: it invites and enrolls them, issues and
// renews their certificates, revokes them, and tells on every call who calls and
// what they may do.
//
//	r, err := access.Open(access.Options{Dir: dir})
//	text, err := r.Invite("default", access.Grant{Role: access.Crew, AllPonds: true})
//	g := access.NewGuard(r, journal) // interceptors for the server
//
// A certificate proves a key and nothing else. What the key may do lies on the
// server, one small file for each fact: a device, its grant, the day its
// certificate expires, its revocation, a code, a code's use. Every file has one
// kind of writer, appears whole (written beside, synced, then linked or renamed
// into place, the folder synced) and is on disk before the call that made it is
// answered. That is the simplest thing that is safe when the power goes at any
// moment, and also when the operator invites or revokes from another process while
// the server runs: there is no cache to go stale and no lock to hold. "First wins"
// is the file system's: a link to a name that exists fails. Devices number in the
// hundreds and change a few times a day, so nothing faster is needed. FORMAT.md
// describes the files.
//
// Nothing here strands data on a device: what is pushed with an expired, revoked
// or forgotten certificate, or for a pond that is not granted, is kept aside.
package access

import (
	"context"
	"regexp"
	"slices"

	"pondwright/proto/block"
)

// DefaultTenant is the tenant of an operator who has only one.
const DefaultTenant = "default"

// Role is what a caller may do with the ponds granted to it. The zero Role may do
// nothing.
type Role string

// The roles.
const (
	Crew     Role = "crew"     // records on the water and reads what is known
	Designer Role = "designer" // as crew, and plans
	Reader   Role = "reader"   // another app: reads and plans, records nothing
	Admin    Role = "admin"    // everything, and lets others in and out
)

// Roles returns all roles, the least first.
func Roles() []Role { return []Role{Reader, Crew, Designer, Admin} }

// Grant is a role and the ponds for which it holds. The zero Grant allows nothing.
type Grant struct {
	Role     Role       `json:"role"`
	AllPonds bool       `json:"all_ponds,omitempty"` // of the tenant, those to come included
	Ponds    []block.ID `json:"ponds,omitempty"`
}

// Validate returns an error for a role that does not exist or a grant of nothing.
func (g Grant) Validate() error {
	if !slices.Contains(Roles(), g.Role) {
		return invalid("no role is called %q", g.Role)
	}
	if !g.AllPonds && len(g.Ponds) == 0 {
		return invalid("the grant names no pond")
	}
	return nil
}

// Sees reports whether a pond is granted.
func (g Grant) Sees(pond block.ID) bool { return g.AllPonds || slices.Contains(g.Ponds, pond) }

func (g Grant) equal(o Grant) bool {
	return g.Role == o.Role && g.AllPonds == o.AllPonds && slices.Equal(g.Ponds, o.Ponds)
}

// Standing is what a caller's certificate is worth.
type Standing uint8

// The standings.
const (
	Unproven Standing = iota // no certificate of this server
	Good
	Expired
	Revoked
	Forgotten // of this server, but the device is not on record: restored from an old backup
)

// Caller is who calls. The zero Caller is a stranger and sees nothing.
type Caller struct {
	Tenant   string
	Device   block.ID // zero on a plain connection
	Standing Standing
	Grant
}

// Local is the caller on a plain connection, which only comes from this machine:
// the operator.
func Local() Caller {
	return Caller{Tenant: DefaultTenant, Standing: Good, Grant: Grant{Role: Admin, AllPonds: true}}
}

type callerKey struct{}

// With returns a context that says who calls.
func With(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// From returns who calls, and whether the context says so: every call from outside
// does.
func From(ctx context.Context) (Caller, bool) {
	c, ok := ctx.Value(callerKey{}).(Caller)
	return c, ok
}

var tenantName = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// checkTenant returns ErrInvalid for a name that cannot be one.
func checkTenant(name string) error {
	if !tenantName.MatchString(name) {
		return invalid("a tenant's name is 1 to 63 of a-z, 0-9 and hyphens, not %q", name)
	}
	return nil
}
