package client

import (
	"context"
	"crypto/ecdsa"
	"crypto/rand"
	"crypto/x509"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"

	"pondwright/proto/invite"
	pb "pondwright/proto/pondwright/v1"
)

// renewBefore is how long before its end a certificate is renewed.
const renewBefore = 30 * 24 * time.Hour

// Join makes this device known to the server at target with the text of an
// invitation. Name is what people will call it there, and may be empty. From then
// on Client.Dial reaches that server. The device's key is made here and never leaves
// it.
//
// The code is not said before the server has proved to be the one that the text
// pins; if it is another the error is ErrWrongServer. A text that cannot be read
// gives an error that wraps invite.ErrInvalid. If no answer came, the same text may
// be tried again.
func (c *Client) Join(ctx context.Context, target, text, name string, opts ...grpc.DialOption) (Membership, error) {
	t, err := invite.Parse(text)
	if err != nil {
		return Membership{}, err
	}
	key, err := c.joiningKey()
	if err != nil {
		return Membership{}, fmt.Errorf("client: join: %w", err)
	}
	var wrong atomic.Bool
	conn, err := dial(target, secure(func() (invite.Pin, error) { return t.Pin, nil }, nil, &wrong), opts)
	if err != nil {
		return Membership{}, err
	}
	err = c.enroll(ctx, conn, key, t, name)
	if wrong.Load() {
		err = ErrWrongServer
	}
	if err = errors.Join(err, conn.Close()); err != nil {
		return Membership{}, fmt.Errorf("client: join: %w", err)
	}
	m, _, err := c.Membership()
	return m, err
}

func (c *Client) enroll(ctx context.Context, conn grpc.ClientConnInterface, key *ecdsa.PrivateKey, t invite.Text, name string) error {
	csr, err := x509.CreateCertificateRequest(rand.Reader, &x509.CertificateRequest{}, key)
	if err != nil {
		return err
	}
	ctx, done := c.patiently(ctx)
	defer done()
	resp, err := pb.NewDeviceServiceClient(conn).Enroll(ctx, &pb.EnrollRequest{Code: string(t.Code), Csr: csr, Name: name})
	if err != nil {
		return causeOf(ctx, err)
	}
	if err := c.accept(resp.GetCertificate(), key, t.Pin); err != nil {
		return err
	}
	return c.joined()
}

// accept stores a certificate if it is for this key and of the pinned server.
func (c *Client) accept(m *pb.Certificate, key *ecdsa.PrivateKey, pin invite.Pin) error {
	authority, err := x509.ParseCertificate(m.GetAuthorityDer())
	if err != nil {
		return fmt.Errorf("received certificate: %w", err)
	}
	cert, err := x509.ParseCertificate(m.GetDer())
	if err != nil {
		return fmt.Errorf("received certificate: %w", err)
	}
	if !invite.PinOf(authority).Equal(pin) || cert.CheckSignatureFrom(authority) != nil || !sameKey(cert, key) {
		return fmt.Errorf("%w: the certificate it sent is not for this device", ErrWrongServer)
	}
	return c.saveCredential(key, cert.Raw, authority.Raw)
}

// Renew fetches a further certificate over a connection of Client.Dial. Sync does
// so by itself when less than 30 days are left. It returns ErrNotJoined if there is
// nothing to renew.
func (c *Client) Renew(ctx context.Context, conn grpc.ClientConnInterface) error {
	cert, err := c.credential()
	if err != nil {
		return err
	}
	if cert == nil {
		return ErrNotJoined
	}
	key, ok := cert.PrivateKey.(*ecdsa.PrivateKey)
	if !ok {
		return fmt.Errorf("client: renew: %w", ErrNotJoined)
	}
	pin, err := pinOf(cert)
	if err != nil {
		return err
	}
	ctx, done := c.patiently(ctx)
	defer done()
	resp, err := pb.NewDeviceServiceClient(conn).Renew(ctx, &pb.RenewRequest{})
	if err != nil {
		return fmt.Errorf("client: renew: %w", causeOf(ctx, err))
	}
	if err := c.accept(resp.GetCertificate(), key, pin); err != nil {
		return fmt.Errorf("client: renew: %w", err)
	}
	return nil
}

// patiently bounds how long a single answer is waited for.
func (c *Client) patiently(ctx context.Context) (_ context.Context, done func()) {
	ctx, cancel := context.WithCancelCause(ctx)
	watch := c.watchdog(cancel)
	return ctx, func() {
		watch.stop()
		cancel(nil)
	}
}
