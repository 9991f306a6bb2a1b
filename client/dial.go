package client

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"

	"pondwright/proto/invite"
)

// Transport limits; the server's minimum time between pings lies below pingEvery.
const (
	pingEvery    = 30 * time.Second
	pingTimeout  = 20 * time.Second
	maxRecvBytes = 4 << 20
)

// Dial returns a plain connection to a server on this machine, such as
// "127.0.0.1:7878". It connects when it is first used. Options may add to the
// defaults: pings while a stream is open, and no encryption. Servers elsewhere need
// Client.Dial.
func Dial(target string, opts ...grpc.DialOption) (*grpc.ClientConn, error) {
	return dial(target, plain{insecure.NewCredentials()}, opts)
}

// Dial returns a connection to the server that this device joined: encrypted, with
// the server's key checked and this device's certificate shown. A device that
// joined none gets a plain one to a server on this machine, and ErrNotJoined for
// any other. It connects when it is first used.
func (c *Client) Dial(target string, opts ...grpc.DialOption) (*grpc.ClientConn, error) {
	cert, err := c.credential()
	if err != nil {
		return nil, err
	}
	if cert == nil {
		if !onThisMachine(target) {
			return nil, fmt.Errorf("client: dial %s: %w", target, ErrNotJoined)
		}
		return Dial(target, opts...)
	}
	// Both are read anew for each connection: the device may renew or join again.
	pin := func() (invite.Pin, error) {
		cert, err := c.credential()
		if err != nil || cert == nil {
			return invite.Pin{}, errors.Join(err, ErrNotJoined)
		}
		return pinOf(cert)
	}
	return dial(target, secure(pin, c.credential, new(atomic.Bool)), opts)
}

func dial(target string, creds credentials.TransportCredentials, opts []grpc.DialOption) (*grpc.ClientConn, error) {
	conn, err := grpc.NewClient(target, append([]grpc.DialOption{
		grpc.WithTransportCredentials(creds),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: pingEvery, Timeout: pingTimeout}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxRecvBytes)),
	}, opts...)...)
	if err != nil {
		return nil, fmt.Errorf("client: dial %s: %w", target, err)
	}
	return conn, nil
}

// onThisMachine reports whether a target can only be this machine.
func onThisMachine(target string) bool {
	host, _, err := net.SplitHostPort(target)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// secure returns TLS 1.3 with the server's key held to a pin, and this device's
// certificate if there is one. A server with another key sets wrong.
func secure(pin func() (invite.Pin, error), own func() (*tls.Certificate, error), wrong *atomic.Bool) credentials.TransportCredentials {
	config := &tls.Config{
		MinVersion: tls.VersionTLS13,
		//nolint:gosec // the server has no public name; VerifyConnection holds its key to the pin
		InsecureSkipVerify: true,
		VerifyConnection: func(state tls.ConnectionState) error {
			want, err := pin()
			if err != nil {
				return err
			}
			if err := checkServer(state.PeerCertificates, want); err != nil {
				wrong.Store(true)
				return err
			}
			return nil
		},
	}
	if own != nil {
		config.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) {
			cert, err := own()
			if err == nil && cert == nil {
				err = ErrNotJoined
			}
			return cert, err
		}
	}
	return credentials.NewTLS(config)
}

// checkServer returns ErrWrongServer unless the chain is a server's and ends in the
// pinned authority. Dates are not looked at: a boat's clock may be years off, and a
// server's key lives no longer than the process that made it.
func checkServer(chain []*x509.Certificate, pin invite.Pin) error {
	roots := x509.NewCertPool()
	for _, c := range chain {
		if c.IsCA && invite.PinOf(c).Equal(pin) {
			roots.AddCert(c)
		}
	}
	if len(chain) == 0 {
		return ErrWrongServer
	}
	if _, err := chain[0].Verify(x509.VerifyOptions{Roots: roots, CurrentTime: chain[0].NotBefore,
		KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}); err != nil {
		return fmt.Errorf("%w: %w", ErrWrongServer, err)
	}
	return nil
}

// plain is a connection without encryption whose errors say what the likeliest
// mistake is.
type plain struct {
	credentials.TransportCredentials
}

func (p plain) ClientHandshake(ctx context.Context, authority string, raw net.Conn) (net.Conn, credentials.AuthInfo, error) {
	return p.TransportCredentials.ClientHandshake(ctx, authority, &listening{Conn: raw})
}

func (p plain) Clone() credentials.TransportCredentials { return plain{p.TransportCredentials.Clone()} }

// listening is a connection on which nothing was heard yet.
type listening struct {
	net.Conn
	heard bool
}

func (l *listening) Read(b []byte) (int, error) {
	n, err := l.Conn.Read(b)
	if err != nil && n == 0 && !l.heard {
		err = fmt.Errorf("the server hung up on a connection without encryption; if it asks for encryption, join it first with a code from its operator (%w)", err)
	}
	l.heard = l.heard || n > 0
	return n, err
}
