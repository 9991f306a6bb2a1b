package access

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode"

	"pondwright/proto/block"
	"pondwright/proto/invite"
)

// CodeLife is how long a code can be used.
const CodeLife = 15 * time.Minute

// Options says where a registry lies and what it draws on. Only Dir is required.
type Options struct {
	Dir  string           // a folder of its own; made if missing
	Now  func() time.Time // wall clock; nil for the machine's
	Rand io.Reader        // cryptographic randomness for codes and ids; nil for the machine's
}

// Registry is who may do what. It is safe for concurrent use, by several processes
// too.
type Registry struct {
	opt       Options
	authority *authority
}

// Open opens the registry, making it and its key if they are missing.
func Open(opt Options) (*Registry, error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Rand == nil {
		opt.Rand = rand.Reader
	}
	for _, dir := range []string{opt.Dir, filepath.Join(opt.Dir, "codes"), filepath.Join(opt.Dir, "devices")} {
		if err := makeDir(dir); err != nil {
			return nil, fmt.Errorf("access: %w", err)
		}
	}
	a, err := openAuthority(opt.Dir, opt.Now)
	if err != nil {
		return nil, fmt.Errorf("access: authority: %w", err)
	}
	return &Registry{opt: opt, authority: a}, nil
}

// TLS returns the server's side of every connection: TLS 1.3, a client certificate
// asked for and not judged.
func (r *Registry) TLS() *tls.Config { return r.authority.tls() }

// Invitation is a code and when it ends.
type Invitation struct {
	Text    invite.Text
	Expires time.Time
}

// codeFile is what a code is good for; useFile is who used it.
type (
	codeFile struct {
		Tenant  string    `json:"tenant"`
		Grant   Grant     `json:"grant"`
		Expires time.Time `json:"expires"`
	}
	useFile struct {
		Device block.ID   `json:"device"`
		Key    block.Hash `json:"key"`
	}
)

// Invite makes a code with which one device can enroll. The error is ErrInvalid
// for a tenant or grant that cannot be.
func (r *Registry) Invite(tenant string, g Grant) (Invitation, error) {
	if err := errors.Join(checkTenant(tenant), g.Validate()); err != nil {
		return Invitation{}, err
	}
	if err := r.sweepCodes(); err != nil {
		return Invitation{}, fmt.Errorf("access: %w", err)
	}
	var random [8]byte
	if _, err := io.ReadFull(r.opt.Rand, random[:]); err != nil {
		return Invitation{}, fmt.Errorf("access: %w", err)
	}
	code := invite.NewCode(binary.BigEndian.Uint64(random[:]))
	c := codeFile{Tenant: tenant, Grant: g, Expires: r.opt.Now().Add(CodeLife)}
	made, err := create(r.codePath(code)+".json", c)
	if err == nil && !made {
		err = errors.New("drew a code that exists")
	}
	if err != nil {
		return Invitation{}, fmt.Errorf("access: invite: %w", err)
	}
	return Invitation{invite.Text{Code: code, Pin: invite.PinOf(r.authority.cert)}, c.Expires}, nil
}

// codePath is where the files of a code lie, without their endings. The name is a
// hash, so that a glance into the folder shows no code.
func (r *Registry) codePath(code invite.Code) string {
	sum := sha256.Sum256([]byte("pondwright code 1\x00" + code))
	return filepath.Join(r.opt.Dir, "codes", fmt.Sprintf("%x", sum[:16]))
}

// sweepCodes forgets codes a day after they ended.
func (r *Registry) sweepCodes() error {
	paths, err := filepath.Glob(filepath.Join(r.opt.Dir, "codes", "*.json"))
	if err != nil {
		return err
	}
	for _, path := range paths {
		var c codeFile
		if _, err := read(path, &c); err != nil {
			return err
		}
		if r.opt.Now().Before(c.Expires.Add(24 * time.Hour)) {
			continue
		}
		// The code goes first: a use without a code lets nobody in.
		for _, p := range []string{path, strings.TrimSuffix(path, ".json") + ".used"} {
			if err := os.Remove(p); err != nil && !errors.Is(err, os.ErrNotExist) {
				return err
			}
		}
	}
	return nil
}

// Enrolment is a device that was let in.
type Enrolment struct {
	Device      block.ID
	Grant       Grant
	Certificate Certificate
}

// Certificate is what a device shows to the server, in DER.
type Certificate struct {
	Device    []byte
	Authority []byte
	Expires   time.Time
}

// The files of a device: what it is, until when its certificate holds, and since
// when it is revoked.
type (
	deviceFile struct {
		Tenant   string     `json:"tenant"`
		Name     string     `json:"name,omitempty"`
		Key      block.Hash `json:"key"` // SHA-256 of its public key
		Enrolled time.Time  `json:"enrolled"`
	}
	expiryFile struct {
		Expires time.Time `json:"expires"`
	}
	revokedFile struct {
		At time.Time `json:"at"`
	}
	forkedFile struct {
		At time.Time `json:"at"`
	}
)

func (r *Registry) devicePath(id block.ID, file string) string {
	return filepath.Join(r.opt.Dir, "devices", id.String(), file)
}

// Enroll lets a device in. The first key to bring a code owns it: the same again
// is the same device, another is refused with ErrCodeInvalid like a code that is
// unknown or past its time. The error is ErrInvalid for a malformed request.
func (r *Registry) Enroll(code invite.Code, csr []byte, name string) (Enrolment, error) {
	key, err := deviceKey(csr)
	if err != nil {
		return Enrolment{}, err
	}
	spki, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		return Enrolment{}, fmt.Errorf("access: enroll: %w", err)
	}
	e, err := r.enroll(code, sha256.Sum256(spki), key, name)
	if err != nil && !errors.As(err, new(*Refusal)) {
		err = fmt.Errorf("access: enroll: %w", err)
	}
	return e, err
}

func (r *Registry) enroll(code invite.Code, hash block.Hash, key any, name string) (Enrolment, error) {
	var c codeFile
	found, err := read(r.codePath(code)+".json", &c)
	if err != nil {
		return Enrolment{}, err
	}
	if !found || !r.opt.Now().Before(c.Expires) {
		return Enrolment{}, ErrCodeInvalid
	}
	use := useFile{Key: hash}
	if _, err := io.ReadFull(r.opt.Rand, use.Device[:]); err != nil {
		return Enrolment{}, err
	}
	made, err := create(r.codePath(code)+".used", use)
	if err == nil && !made {
		if _, err = read(r.codePath(code)+".used", &use); err == nil && use.Key != hash {
			err = ErrCodeInvalid
		}
	}
	if err != nil {
		return Enrolment{}, err
	}
	return r.record(c, use, key, name)
}

// record writes what makes a device known, the file that Identify asks for last.
// Cut short at any point, the same call again completes it.
func (r *Registry) record(c codeFile, use useFile, key any, name string) (Enrolment, error) {
	if err := makeDir(r.devicePath(use.Device, "")); err != nil {
		return Enrolment{}, err
	}
	if _, err := create(r.devicePath(use.Device, "grant.json"), c.Grant); err != nil {
		return Enrolment{}, err
	}
	cert, err := r.issue(c.Tenant, use.Device, key)
	if err != nil {
		return Enrolment{}, err
	}
	d := deviceFile{Tenant: c.Tenant, Name: printable(name), Key: use.Key, Enrolled: r.opt.Now()}
	if _, err := create(r.devicePath(use.Device, "device.json"), d); err != nil {
		return Enrolment{}, err
	}
	return Enrolment{use.Device, c.Grant, cert}, nil
}

// printable drops what would play tricks on the terminal that shows a name.
func printable(name string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, name)
}

// issue signs a certificate and notes until when it holds.
func (r *Registry) issue(tenant string, id block.ID, key any) (Certificate, error) {
	der, err := r.authority.device(tenant, id, key)
	if err != nil {
		return Certificate{}, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return Certificate{}, err
	}
	if err := replace(r.devicePath(id, "expiry.json"), expiryFile{leaf.NotAfter}); err != nil {
		return Certificate{}, err
	}
	return Certificate{der, r.authority.cert.Raw, leaf.NotAfter}, nil
}

// Renew issues a further certificate for the key of an earlier one, be it expired
// or not. The device is good again at once, whichever of its certificates it
// shows: an answer lost on the way locks nobody out, and an open connection need
// not be made anew.
func (r *Registry) Renew(cert *x509.Certificate) (Certificate, error) {
	who, err := r.Identify(cert)
	if err != nil {
		return Certificate{}, err
	}
	if who.Standing != Good && who.Standing != Expired {
		return Certificate{}, who.Standing.refusal()
	}
	out, err := r.issue(who.Tenant, who.Device, cert.PublicKey)
	if err != nil {
		return Certificate{}, fmt.Errorf("access: renew: %w", err)
	}
	return out, nil
}

// Identify tells who shows a certificate. It is for the caller to have seen the
// proof of its key, as a TLS handshake gives. What it returns holds for the
// moment: everything is read from disk each time.
func (r *Registry) Identify(cert *x509.Certificate) (Caller, error) {
	tenant, id, ok := r.authority.named(cert)
	if !ok {
		return Caller{}, nil
	}
	d, err := r.device(id)
	if errors.Is(err, ErrDeviceNotFound) {
		return Caller{Tenant: tenant, Device: id, Standing: Forgotten}, nil
	}
	if err != nil {
		return Caller{}, err
	}
	if d.Tenant != tenant || sha256.Sum256(cert.RawSubjectPublicKeyInfo) != d.key {
		return Caller{}, nil
	}
	who := Caller{Tenant: d.Tenant, Device: id, Standing: Good, Grant: d.Grant}
	switch now := r.opt.Now(); {
	case !d.Revoked.IsZero():
		who.Standing = Revoked
	case !now.Before(d.Expires) && !now.Before(cert.NotAfter):
		who.Standing = Expired
	}
	return who, nil
}

// Device is an enrolled device.
type Device struct {
	ID       block.ID
	Tenant   string
	Name     string // what people call it; may be empty
	Grant    Grant
	Enrolled time.Time
	Expires  time.Time // its newest certificate
	Revoked  time.Time // zero if it is not
	Forked   time.Time // when it last contradicted a log of its own: a copy of it may be in use; zero for never

	key block.Hash
}

// device reads a device. The error is ErrDeviceNotFound for one that never
// finished to enroll.
func (r *Registry) device(id block.ID) (Device, error) {
	var (
		d deviceFile
		g Grant
		e expiryFile
		v revokedFile
		f forkedFile
	)
	found, err := read(r.devicePath(id, "device.json"), &d)
	if err == nil && !found {
		return Device{}, ErrDeviceNotFound
	}
	_, gErr := read(r.devicePath(id, "grant.json"), &g)
	_, eErr := read(r.devicePath(id, "expiry.json"), &e)
	_, vErr := read(r.devicePath(id, "revoked.json"), &v)
	_, fErr := read(r.devicePath(id, "forked.json"), &f)
	if err := errors.Join(err, gErr, eErr, vErr, fErr); err != nil {
		return Device{}, fmt.Errorf("access: device %v: %w", id, err)
	}
	return Device{id, d.Tenant, d.Name, g, d.Enrolled, e.Expires, v.At, f.At, d.Key}, nil
}

// of returns a device of a tenant; one of another is not found.
func (r *Registry) of(tenant string, id block.ID) error {
	d, err := r.device(id)
	if err == nil && d.Tenant != tenant {
		err = ErrDeviceNotFound
	}
	return err
}

// Revoke shuts a device out for good; again is fine. The error is
// ErrDeviceNotFound for a device that is not the tenant's.
func (r *Registry) Revoke(tenant string, id block.ID) error {
	err := r.of(tenant, id)
	if err == nil {
		_, err = create(r.devicePath(id, "revoked.json"), revokedFile{r.opt.Now()})
	}
	return err
}

// NoteFork notes that a device brought other entries than are held under a log of its
// own. The error is ErrDeviceNotFound for a device that is not the tenant's.
func (r *Registry) NoteFork(tenant string, id block.ID) error {
	err := r.of(tenant, id)
	if err == nil {
		err = replace(r.devicePath(id, "forked.json"), forkedFile{r.opt.Now()})
	}
	return err
}

// SetGrant changes what a device may do. The error is ErrDeviceNotFound for a
// device that is not the tenant's, or ErrInvalid.
func (r *Registry) SetGrant(tenant string, id block.ID, g Grant) error {
	if err := g.Validate(); err != nil {
		return err
	}
	err := r.of(tenant, id)
	if err == nil {
		err = replace(r.devicePath(id, "grant.json"), g)
	}
	return err
}

// Devices returns a tenant's devices, oldest first.
func (r *Registry) Devices(tenant string) ([]Device, error) {
	entries, err := os.ReadDir(filepath.Join(r.opt.Dir, "devices"))
	if err != nil {
		return nil, fmt.Errorf("access: devices: %w", err)
	}
	var out []Device
	for _, e := range entries {
		var id block.ID
		if id.UnmarshalText([]byte(e.Name())) != nil {
			continue
		}
		d, err := r.device(id)
		if errors.Is(err, ErrDeviceNotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if d.Tenant == tenant {
			out = append(out, d)
		}
	}
	slices.SortFunc(out, func(a, b Device) int {
		if d := a.Enrolled.Compare(b.Enrolled); d != 0 {
			return d
		}
		return bytes.Compare(a.ID[:], b.ID[:])
	})
	return out, nil
}
