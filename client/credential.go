package client

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"pondwright/proto/block"
	"pondwright/proto/invite"
)

// A device's credential lies in the folder access of its store, readable by its
// owner alone: device.pem holds the key (PKCS #8), the certificate and that of the
// server's authority; joining.pem the key of a device whose code is not yet
// answered. Each is written beside, synced and renamed into place.
const (
	accessFolder = "access"
	devicePEM    = "device.pem"
	joiningPEM   = "joining.pem"
)

// Membership is what a device knows of its place on a server.
type Membership struct {
	Device  block.ID // the server's name for this device
	Tenant  string
	Expires time.Time // the certificate, by the server's clock; it renews itself
}

// Membership returns the device's place on the server it joined, and whether it
// joined one.
func (c *Client) Membership() (m Membership, joined bool, err error) {
	cert, err := c.credential()
	if err != nil || cert == nil {
		return Membership{}, false, err
	}
	m.Expires = cert.Leaf.NotAfter
	if len(cert.Leaf.Subject.Organization) > 0 {
		m.Tenant = cert.Leaf.Subject.Organization[0]
	}
	if err := m.Device.UnmarshalText([]byte(cert.Leaf.Subject.CommonName)); err != nil {
		return Membership{}, false, fmt.Errorf("client: certificate: %w", err)
	}
	return m, true, nil
}

// credential reads the device's key, its certificate and the authority's, nil if it
// joined no server.
func (c *Client) credential() (*tls.Certificate, error) {
	data, err := os.ReadFile(filepath.Join(c.dir, accessFolder, devicePEM))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("client: credential: %w", err)
	}
	pair, err := tls.X509KeyPair(data, data)
	if err != nil {
		return nil, fmt.Errorf("client: credential: %w", err)
	}
	if len(pair.Certificate) != 2 {
		return nil, fmt.Errorf("client: credential holds %d certificates, must be 2", len(pair.Certificate))
	}
	return &pair, nil
}

// pinOf returns the pin of the server that a credential is for.
func pinOf(cert *tls.Certificate) (invite.Pin, error) {
	authority, err := x509.ParseCertificate(cert.Certificate[1])
	if err != nil {
		return invite.Pin{}, fmt.Errorf("client: credential: %w", err)
	}
	return invite.PinOf(authority), nil
}

// saveCredential makes a key and its certificates the device's own.
func (c *Client) saveCredential(key any, chain ...[]byte) error {
	data, err := keyPEM(key)
	if err != nil {
		return err
	}
	for _, der := range chain {
		data = append(data, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})...)
	}
	return c.saveAccess(devicePEM, data)
}

// joiningKey returns the key with which the device joins: the one of a try that
// was not answered, so that a code whose answer was lost still works, or a new one.
func (c *Client) joiningKey() (*ecdsa.PrivateKey, error) {
	data, err := os.ReadFile(filepath.Join(c.dir, accessFolder, joiningPEM))
	if err == nil {
		if b, _ := pem.Decode(data); b != nil {
			if key, err := x509.ParsePKCS8PrivateKey(b.Bytes); err == nil {
				if key, ok := key.(*ecdsa.PrivateKey); ok {
					return key, nil
				}
			}
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	if data, err = keyPEM(key); err != nil {
		return nil, err
	}
	return key, c.saveAccess(joiningPEM, data)
}

func (c *Client) joined() error {
	err := os.Remove(filepath.Join(c.dir, accessFolder, joiningPEM))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

func keyPEM(key any) ([]byte, error) {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), nil
}

// saveAccess writes a file of the access folder whole and synced.
func (c *Client) saveAccess(name string, data []byte) error {
	dir := filepath.Join(c.dir, accessFolder)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, ".new-") // readable by its owner alone
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	if err := os.Rename(f.Name(), filepath.Join(dir, name)); err != nil {
		return err
	}
	for _, d := range []string{dir, c.dir} {
		if err := syncFolder(d); err != nil {
			return err
		}
	}
	return nil
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// sameKey reports whether a certificate is for a key.
func sameKey(cert *x509.Certificate, key *ecdsa.PrivateKey) bool {
	spki, err := x509.MarshalPKIXPublicKey(key.Public())
	return err == nil && bytes.Equal(spki, cert.RawSubjectPublicKeyInfo)
}
