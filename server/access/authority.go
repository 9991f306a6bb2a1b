package access

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"pondwright/proto/block"
)

// How long certificates last. A device's is renewed when a third of it is left,
// and its loss is no harm: see Registry.Renew. The authority outlives the ponds.
const (
	authorityLife = 30 * 365 * 24 * time.Hour
	serverLife    = 90 * 24 * time.Hour
	deviceLife    = 90 * 24 * time.Hour
	serverSpare   = 30 * 24 * time.Hour
	clockSlack    = time.Hour // certificates hold from a little before they are made
)

// authority is the key that the pin names. It signs the server's own certificate
// and those of devices.
type authority struct {
	now  func() time.Time
	key  *ecdsa.PrivateKey
	cert *x509.Certificate
	seal []byte // key of Registry.Seal

	mu     sync.Mutex
	server *tls.Certificate // in memory only: made anew with each start and before it expires
}

const authorityFile = "authority.pem"

// openAuthority reads the key and its certificate, or makes them. Where two
// processes make them at once, one wins and both use it.
func openAuthority(dir string, now func() time.Time) (*authority, error) {
	path := filepath.Join(dir, authorityFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		if data, err = newAuthority(now()); err != nil {
			return nil, err
		}
		if _, err = createBytes(path, data); err != nil {
			return nil, err
		}
		data, err = os.ReadFile(path)
	}
	if err != nil {
		return nil, err
	}
	pair, err := tls.X509KeyPair(data, data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	key, ok := pair.PrivateKey.(*ecdsa.PrivateKey)
	if !ok || !pair.Leaf.IsCA {
		return nil, fmt.Errorf("%s holds no authority", path)
	}
	seal, err := sealKey(key)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &authority{now: now, key: key, cert: pair.Leaf, seal: seal}, nil
}

// newAuthority returns a new key and its certificate in PEM.
func newAuthority(now time.Time) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	template := &x509.Certificate{
		Subject:               pkix.Name{CommonName: "pondwright authority"},
		NotBefore:             now.Add(-2 * clockSlack),
		NotAfter:              now.Add(authorityLife),
		IsCA:                  true,
		BasicConstraintsValid: true,
		MaxPathLenZero:        true,
		KeyUsage:              x509.KeyUsageCertSign,
	}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		return nil, err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	return append(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}),
		pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert})...), nil
}

// sign returns a certificate for a key, in DER.
func (a *authority) sign(subject pkix.Name, use x509.ExtKeyUsage, key any, life time.Duration) ([]byte, error) {
	now := a.now()
	return x509.CreateCertificate(rand.Reader, &x509.Certificate{
		Subject:               subject,
		NotBefore:             now.Add(-clockSlack),
		NotAfter:              now.Add(life),
		BasicConstraintsValid: true,
		KeyUsage:              x509.KeyUsageDigitalSignature,
		ExtKeyUsage:           []x509.ExtKeyUsage{use},
	}, a.cert, key, a.key)
}

// tls returns the server's side of every connection. It asks for a certificate
// and judges none: the guard does, so that a device whose certificate has expired
// hears so in words, and one without can enroll.
func (a *authority) tls() *tls.Config {
	return &tls.Config{
		MinVersion:     tls.VersionTLS13,
		ClientAuth:     tls.RequestClientCert,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return a.own() },
	}
}

// own returns the server's certificate and the authority's behind it.
func (a *authority) own() (*tls.Certificate, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.server != nil && a.now().Add(serverSpare).Before(a.server.Leaf.NotAfter) {
		return a.server, nil
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	der, err := a.sign(pkix.Name{CommonName: "pondwright server"}, x509.ExtKeyUsageServerAuth, key.Public(), serverLife)
	if err != nil {
		return nil, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, err
	}
	a.server = &tls.Certificate{Certificate: [][]byte{der, a.cert.Raw}, PrivateKey: key, Leaf: leaf}
	return a.server, nil
}

// device issues a device's certificate.
func (a *authority) device(tenant string, id block.ID, key any) ([]byte, error) {
	return a.sign(pkix.Name{CommonName: id.String(), Organization: []string{tenant}}, x509.ExtKeyUsageClientAuth, key, deviceLife)
}

// named returns what a device's certificate says, and false for one that this
// authority did not issue to a device. It does not look at dates.
func (a *authority) named(cert *x509.Certificate) (tenant string, id block.ID, ok bool) {
	if cert.CheckSignatureFrom(a.cert) != nil || !slices.Contains(cert.ExtKeyUsage, x509.ExtKeyUsageClientAuth) ||
		len(cert.Subject.Organization) != 1 || id.UnmarshalText([]byte(cert.Subject.CommonName)) != nil {
		return "", block.ID{}, false
	}
	return cert.Subject.Organization[0], id, true
}

// deviceKey returns the key of a request, which must be signed with it.
func deviceKey(csr []byte) (*ecdsa.PublicKey, error) {
	req, err := x509.ParseCertificateRequest(csr)
	if err != nil {
		return nil, invalid("certificate request: %v", err)
	}
	key, ok := req.PublicKey.(*ecdsa.PublicKey)
	if !ok || key.Curve != elliptic.P256() || req.CheckSignature() != nil {
		return nil, invalid("the certificate request must be signed with a key on P-256")
	}
	return key, nil
}
