package client

import (
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"
)

// Transport limits; the server's minimum time between pings lies below pingEvery.
const (
	pingEvery    = 30 * time.Second
	pingTimeout  = 20 * time.Second
	maxRecvBytes = 4 << 20
)

// Dial returns a connection to a server on this machine, such as
// "127.0.0.1:7878". It connects when it is first used. Options may add to the
// defaults: pings while a stream is open, and no encryption.
func Dial(target string, opts ...grpc.DialOption) (*grpc.ClientConn, error) {
	conn, err := grpc.NewClient(target, append([]grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: pingEvery, Timeout: pingTimeout}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxRecvBytes)),
	}, opts...)...)
	if err != nil {
		return nil, fmt.Errorf("client: dial %s: %w", target, err)
	}
	return conn, nil
}
