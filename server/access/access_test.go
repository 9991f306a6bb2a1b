package access

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"pondwright/proto/block"
	"pondwright/proto/invite"
	pb "pondwright/proto/pondwright/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var start = time.Date(2031, 5, 1, 6, 0, 0, 0, time.UTC)

// desk is a registry whose clock the test sets.
type desk struct {
	*Registry
	dir string
	now time.Time
}

func open(t testing.TB) *desk {
	t.Helper()
	d := &desk{dir: t.TempDir(), now: start}
	var err error
	if d.Registry, err = Open(Options{Dir: d.dir, Now: func() time.Time { return d.now }}); err != nil {
		t.Fatal(err)
	}
	return d
}

func (d *desk) code(t testing.TB, g Grant) invite.Code {
	t.Helper()
	i, err := d.Invite(DefaultTenant, g)
	if err != nil {
		t.Fatal(err)
	}
	return i.Text.Code
}

func newKey(t testing.TB, curve elliptic.Curve) (*ecdsa.PrivateKey, []byte) {
	t.Helper()
	key, err := ecdsa.GenerateKey(curve, rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	csr, err := x509.CreateCertificateRequest(rand.Reader, &x509.CertificateRequest{}, key)
	if err != nil {
		t.Fatal(err)
	}
	return key, csr
}

// enroll lets a device in and returns it with its certificate.
func (d *desk) enroll(t testing.TB, code invite.Code, csr []byte) (Enrolment, *x509.Certificate) {
	t.Helper()
	e, err := d.Enroll(code, csr, "boat")
	if err != nil {
		t.Fatal(err)
	}
	return e, parse(t, e.Certificate.Device)
}

func parse(t testing.TB, der []byte) *x509.Certificate {
	t.Helper()
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return cert
}

func (d *desk) standing(t testing.TB, cert *x509.Certificate) Standing {
	t.Helper()
	who, err := d.Identify(cert)
	if err != nil {
		t.Fatal(err)
	}
	return who.Standing
}

var crewOfAll = Grant{Role: Crew, AllPonds: true}

// TestIdentify_WhoIsNotKnown shows certificates that prove nothing here.
func TestIdentify_WhoIsNotKnown(t *testing.T) {
	t.Parallel()
	d, elsewhere := open(t), open(t)
	key, csr := newKey(t, elliptic.P256())
	e, good := d.enroll(t, d.code(t, crewOfAll), csr)
	_, foreign := elsewhere.enroll(t, elsewhere.code(t, crewOfAll), csr)
	own, err := d.authority.own()
	if err != nil {
		t.Fatal(err)
	}
	otherKey, _ := newKey(t, elliptic.P256())
	forge := func(subject pkix.Name, key any, parent *x509.Certificate, signer any) *x509.Certificate {
		t.Helper()
		template := &x509.Certificate{Subject: subject, NotBefore: start, NotAfter: start.Add(time.Hour),
			ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}}
		if parent == nil {
			parent = template
		}
		der, err := x509.CreateCertificate(rand.Reader, template, parent, key, signer)
		if err != nil {
			t.Fatal(err)
		}
		return parse(t, der)
	}
	ca := d.authority
	tests := []struct {
		name string
		cert *x509.Certificate
		want Standing
	}{
		{"the device itself", good, Good},
		{"signed by itself with the device's name", forge(good.Subject, key.Public(), nil, key), Unproven},
		{"signed by another server", foreign, Unproven},
		{"signed by the device", forge(good.Subject, otherKey.Public(), good, key), Unproven},
		{"the server's own", own.Leaf, Unproven},
		{"the authority's own", ca.cert, Unproven},
		{"the device's name on another key", forge(good.Subject, otherKey.Public(), ca.cert, ca.key), Unproven},
		{"the device under another tenant", forge(pkix.Name{CommonName: e.Device.String(), Organization: []string{"other"}}, key.Public(), ca.cert, ca.key), Unproven},
		{"no name", forge(pkix.Name{Organization: []string{DefaultTenant}}, key.Public(), ca.cert, ca.key), Unproven},
		{"a device that is not on record", forge(pkix.Name{CommonName: block.ID{7}.String(), Organization: []string{DefaultTenant}}, key.Public(), ca.cert, ca.key), Forgotten},
	}
	for _, tt := range tests {
		if got := d.standing(t, tt.cert); got != tt.want {
			t.Errorf("%s: standing %d, want %d", tt.name, got, tt.want)
		}
	}
}

func TestStanding_OverTime(t *testing.T) {
	t.Parallel()
	d := open(t)
	_, csr := newKey(t, elliptic.P256())
	e, cert := d.enroll(t, d.code(t, crewOfAll), csr)
	if want := start.Add(90 * 24 * time.Hour); !e.Certificate.Expires.Equal(want) || !cert.NotAfter.Equal(want) {
		t.Errorf("expires %v, want %v", e.Certificate.Expires, want)
	}
	d.now = cert.NotAfter.Add(-time.Second)
	if got := d.standing(t, cert); got != Good {
		t.Errorf("in its last second: %d", got)
	}
	d.now = cert.NotAfter
	if got := d.standing(t, cert); got != Expired {
		t.Errorf("at its end: %d", got)
	}
	renewed, err := d.Renew(cert)
	if err != nil || d.standing(t, cert) != Good || d.standing(t, parse(t, renewed.Device)) != Good {
		t.Errorf("renewed: %v, want both certificates good", err)
	}
	if err := errors.Join(d.Revoke(DefaultTenant, e.Device), d.Revoke(DefaultTenant, e.Device)); err != nil {
		t.Error(err)
	}
	if _, err := d.Renew(cert); !errors.Is(err, ErrRevoked) || d.standing(t, cert) != Revoked {
		t.Errorf("renewal once revoked: %v, want ErrRevoked", err)
	}
	d.now = d.now.Add(1000 * 24 * time.Hour)
	if got := d.standing(t, parse(t, renewed.Device)); got != Revoked {
		t.Errorf("revoked and expired: %d, want revoked", got)
	}
	for name, err := range map[string]error{
		"revoke":                   d.Revoke(DefaultTenant, block.ID{1}),
		"revoke of another tenant": d.Revoke("other", e.Device),
		"grant":                    d.SetGrant(DefaultTenant, block.ID{1}, crewOfAll),
		"grant of another tenant":  d.SetGrant("other", e.Device, crewOfAll),
	} {
		if !errors.Is(err, ErrDeviceNotFound) {
			t.Errorf("%s: %v, want ErrDeviceNotFound", name, err)
		}
	}
}

// TestEnroll_CutShort takes files away as a loss of power at each point would leave
// them: the same code and key complete the same device.
func TestEnroll_CutShort(t *testing.T) {
	t.Parallel()
	d := open(t)
	_, csr := newKey(t, elliptic.P256())
	code := d.code(t, crewOfAll)
	first, cert := d.enroll(t, code, csr)
	files := []string{"device.json", "expiry.json", "grant.json"} // the last written first
	for n := range len(files) + 1 {
		for _, f := range files[:n] {
			if err := os.Remove(d.devicePath(first.Device, f)); err != nil {
				t.Fatal(err)
			}
		}
		if got := d.standing(t, cert); n > 0 && got != Forgotten {
			t.Errorf("%d files missing: standing %d, want forgotten", n, got)
		}
		again, cert := d.enroll(t, code, csr)
		if again.Device != first.Device || d.standing(t, cert) != Good {
			t.Errorf("%d files missing: device %v, want %v and good", n, again.Device, first.Device)
		}
	}
	if err := d.SetGrant(DefaultTenant, first.Device, Grant{Role: Reader, AllPonds: true}); err != nil {
		t.Fatal(err)
	}
	_, cert = d.enroll(t, code, csr)
	if who, err := d.Identify(cert); err != nil || who.Role != Reader {
		t.Errorf("enrolling again undid a grant: %+v, %v", who, err)
	}
	if left, err := filepath.Glob(filepath.Join(d.dir, "*", "*", ".new-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestEnroll_OneCodeOneKey: of many keys that bring a code at once, one gets in.
func TestEnroll_OneCodeOneKey(t *testing.T) {
	t.Parallel()
	d := open(t)
	code := d.code(t, crewOfAll)
	const many = 8
	var (
		mu    sync.Mutex
		in    int
		tried sync.WaitGroup
	)
	for range many {
		_, csr := newKey(t, elliptic.P256())
		tried.Go(func() {
			_, err := d.Enroll(code, csr, "")
			mu.Lock()
			defer mu.Unlock()
			if err == nil {
				in++
			} else if !errors.Is(err, ErrCodeInvalid) {
				t.Error(err)
			}
		})
	}
	tried.Wait()
	if in != 1 {
		t.Errorf("%d keys got in with one code", in)
	}
}

func TestEnroll_BadRequests(t *testing.T) {
	t.Parallel()
	d := open(t)
	code := d.code(t, crewOfAll)
	_, weak := newKey(t, elliptic.P224())
	_, good := newKey(t, elliptic.P256())
	forged := slices.Clone(good)
	forged[len(forged)-1] ^= 1
	for name, csr := range map[string][]byte{"none": nil, "noise": {1, 2, 3}, "another curve": weak, "not signed with its key": forged} {
		if _, err := d.Enroll(code, csr, ""); !errors.Is(err, ErrInvalid) {
			t.Errorf("%s: %v, want ErrInvalid", name, err)
		}
	}
	if _, err := d.Enroll(code, good, ""); err != nil {
		t.Errorf("the code is gone after bad requests: %v", err)
	}
}

func TestInvite_Refusals(t *testing.T) {
	t.Parallel()
	d := open(t)
	for name, tt := range map[string]struct {
		tenant string
		grant  Grant
	}{
		"no tenant":         {"", crewOfAll},
		"tenant in capital": {"Alder", crewOfAll},
		"path for a tenant": {"../x", crewOfAll},
		"no role":           {DefaultTenant, Grant{AllPonds: true}},
		"unknown role":      {DefaultTenant, Grant{Role: "captain", AllPonds: true}},
		"no pond":           {DefaultTenant, Grant{Role: Crew}},
	} {
		if _, err := d.Invite(tt.tenant, tt.grant); !errors.Is(err, ErrInvalid) || status.Convert(err).Code() != codes.InvalidArgument {
			t.Errorf("%s: %v, want ErrInvalid", name, err)
		}
	}
}

func TestCodes_AreForgottenADayAfterTheirEnd(t *testing.T) {
	t.Parallel()
	d := open(t)
	_, csr := newKey(t, elliptic.P256())
	d.enroll(t, d.code(t, crewOfAll), csr)
	count := func() int {
		t.Helper()
		d.code(t, crewOfAll)
		entries, err := os.ReadDir(filepath.Join(d.dir, "codes"))
		if err != nil {
			t.Fatal(err)
		}
		return len(entries)
	}
	if n := count(); n != 3 {
		t.Errorf("%d files, want two codes and a use", n)
	}
	d.now = d.now.Add(CodeLife + 24*time.Hour)
	if n := count(); n != 1 {
		t.Errorf("%d files a day later, want the new code", n)
	}
}

// TestOpen_AtOnce: two processes that make the folder at once use one key.
func TestOpen_AtOnce(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	const many = 6
	pins := make([]invite.Pin, many)
	var opened sync.WaitGroup
	for i := range pins {
		opened.Go(func() {
			r, err := Open(Options{Dir: dir})
			if err != nil {
				t.Error(err)
				return
			}
			pins[i] = invite.PinOf(r.authority.cert)
		})
	}
	opened.Wait()
	if len(slices.Compact(pins)) != 1 {
		t.Error("more than one key")
	}
	if err := os.WriteFile(filepath.Join(dir, authorityFile), []byte("damaged"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(Options{Dir: dir}); err == nil {
		t.Error("a damaged key was taken or replaced")
	}
}

// TestServerCertificate_IsMadeAnewInTime while the server runs.
func TestServerCertificate_IsMadeAnewInTime(t *testing.T) {
	t.Parallel()
	d := open(t)
	own := func() *x509.Certificate {
		t.Helper()
		c, err := d.authority.own()
		if err != nil {
			t.Fatal(err)
		}
		return c.Leaf
	}
	first := own()
	d.now = d.now.Add(59 * 24 * time.Hour)
	if !own().Equal(first) {
		t.Error("made anew without need")
	}
	d.now = d.now.Add(2 * 24 * time.Hour)
	if next := own(); next.Equal(first) || !next.NotAfter.After(d.now.Add(80*24*time.Hour)) {
		t.Error("not made anew with 29 days left")
	}
}

// TestFiles_Golden pins the form of the files that outlive a release.
func TestFiles_Golden(t *testing.T) {
	t.Parallel()
	id := block.ID{1, 2}
	for want, value := range map[string]any{
		`{"role":"crew","all_ponds":true}`:                                                                                                           crewOfAll,
		`{"role":"reader","ponds":["01020000000000000000000000000000"]}`:                                                                             Grant{Role: Reader, Ponds: []block.ID{id}},
		`{"tenant":"default","grant":{"role":"crew","all_ponds":true},"expires":"2031-05-01T06:00:00Z"}`:                                             codeFile{DefaultTenant, crewOfAll, start},
		`{"device":"01020000000000000000000000000000","key":"0300000000000000000000000000000000000000000000000000000000000000"}`:                     useFile{id, block.Hash{3}},
		`{"tenant":"default","name":"b","key":"0300000000000000000000000000000000000000000000000000000000000000","enrolled":"2031-05-01T06:00:00Z"}`: deviceFile{DefaultTenant, "b", block.Hash{3}, start},
		`{"expires":"2031-05-01T06:00:00Z"}`:                                                                                                         expiryFile{start},
		`{"at":"2031-05-01T06:00:00Z"}`:                                                                                                              revokedFile{start},
	} {
		got, err := json.Marshal(value)
		if err != nil || string(got) != want {
			t.Errorf("%s, %v, want %s", got, err, want)
		}
	}
}

func TestTries(t *testing.T) {
	t.Parallel()
	at := func(s string) net.Addr {
		a, err := net.ResolveTCPAddr("tcp", s)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	tries, now := newTries(), start
	for i := range triesPerMinute {
		if wait := tries.try(at(fmt.Sprintf("192.0.2.1:%d", i+1)), now); wait != 0 {
			t.Errorf("try %d waits %v", i+1, wait)
		}
		now = now.Add(time.Second)
	}
	for _, same := range []string{"192.0.2.1:9", "[::ffff:192.0.2.1]:9"} {
		if wait := tries.try(at(same), now); wait != 55*time.Second {
			t.Errorf("%s waits %v, want 55 s", same, wait)
		}
	}
	if wait := tries.try(at("192.0.2.2:9"), now); wait != 0 {
		t.Errorf("another address waits %v", wait)
	}
	if wait := tries.try(at("192.0.2.1:9"), now.Add(55*time.Second)); wait != 0 {
		t.Errorf("after a minute: %v", wait)
	}
	for i := range triesPerMinute {
		tries.try(at(fmt.Sprintf("[2001:db8::%x]:1", i+1)), now)
	}
	if tries.try(at("[2001:db8::ffff]:1"), now) == 0 || tries.try(at("[2001:db8:0:1::1]:1"), now) != 0 {
		t.Error("IPv6 is not counted by 64 bits")
	}
	for i := range 3 * crowd {
		tries.try(at(fmt.Sprintf("10.0.%d.%d:1", i/250, i%250)), now.Add(time.Duration(i)*time.Second))
	}
	if len(tries.at) > crowd {
		t.Errorf("%d addresses on the list", len(tries.at))
	}
}

// TestCheck_NoStandingButGood reaches anything beyond renewing and pushing.
func TestCheck_NoStandingButGood(t *testing.T) {
	t.Parallel()
	may := map[Standing][]string{
		Expired:   {pb.SyncService_Push_FullMethodName, pb.DeviceService_Renew_FullMethodName},
		Revoked:   {pb.SyncService_Push_FullMethodName},
		Forgotten: {pb.SyncService_Push_FullMethodName},
		Unproven:  nil,
	}
	for method, r := range rules {
		for standing, methods := range may {
			err := check(method, Caller{Standing: standing, Grant: Grant{Role: Admin, AllPonds: true}})
			if want := r.anyone || slices.Contains(methods, method); (err == nil) != want {
				t.Errorf("standing %d calls %s: %v, want allowed = %v", standing, method, err, want)
			}
		}
	}
	if err := check("/pondwright.v1.LaterService/Do", Caller{Standing: Good, Grant: Grant{Role: Designer, AllPonds: true}}); !errors.Is(err, ErrDenied) {
		t.Errorf("a method without a rule: %v, want ErrDenied", err)
	}
}
