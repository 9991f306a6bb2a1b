package crossing

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/binary"
	"errors"
	"io"
	"math/big"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/grpc"
	"google.golang.org/grpc/connectivity"
	"google.golang.org/grpc/credentials"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server"
	"pondwright/server/access"
)

// rowShore is the plain way to do it, for comparison: a row for each sounding, one
// key for each row, and the same rule that nothing is acknowledged before it is
// synced.
type rowShore struct {
	db   *badger.DB
	next atomic.Uint64
}

// put stores rows and syncs.
func (r *rowShore) put(rows []*pb.Sounding) error {
	batch := r.db.NewWriteBatch()
	defer batch.Cancel()
	for _, row := range rows {
		value, err := proto.Marshal(row)
		if err != nil {
			return err
		}
		if err := batch.Set(binary.BigEndian.AppendUint64([]byte("row"), r.next.Add(1)), value); err != nil {
			return err
		}
	}
	if err := batch.Flush(); err != nil {
		return err
	}
	return r.db.Sync()
}

// rowBatch is how many rows travel in one message and are synced together.
const rowBatch = 500

func rowService(r *rowShore) *grpc.ServiceDesc {
	return &grpc.ServiceDesc{
		ServiceName: "rows",
		HandlerType: (*any)(nil),
		Methods: []grpc.MethodDesc{{
			MethodName: "Put",
			Handler: func(_ any, _ context.Context, decode func(any) error, _ grpc.UnaryServerInterceptor) (any, error) {
				row := &pb.Sounding{}
				if err := decode(row); err != nil {
					return nil, err
				}
				return &emptypb.Empty{}, r.put([]*pb.Sounding{row})
			},
		}},
		Streams: []grpc.StreamDesc{{
			StreamName: "Stream", ClientStreams: true,
			Handler: func(_ any, stream grpc.ServerStream) error {
				for {
					m := &pb.ListSoundingsResponse{}
					err := stream.RecvMsg(m)
					if errors.Is(err, io.EOF) {
						return stream.SendMsg(&emptypb.Empty{})
					}
					if err != nil {
						return err
					}
					if err := r.put(m.GetSoundings()); err != nil {
						return err
					}
				}
			},
		}},
	}
}

func startRows(b *testing.B) *grpc.ClientConn {
	b.Helper()
	db, err := badger.Open(badger.DefaultOptions(b.TempDir()).WithLogger(nil).WithSyncWrites(false).WithDetectConflicts(false))
	if err != nil {
		b.Fatal(err)
	}
	closeLater(b, db)
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	s := grpc.NewServer(grpc.MaxRecvMsgSize(4<<20), grpc.Creds(credentials.NewTLS(&tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{selfSigned(b)}})))
	s.RegisterService(rowService(&rowShore{db: db}), struct{}{})
	served := make(chan error, 1)
	go func() { served <- s.Serve(lis) }()
	b.Cleanup(func() {
		s.Stop()
		<-served
	})
	return dial(b, lis.Addr().String(), grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{MinVersion: tls.VersionTLS13, InsecureSkipVerify: true})))
}

// selfSigned is a certificate that nobody checks: the rows are only encrypted.
func selfSigned(b *testing.B) tls.Certificate {
	b.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		b.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		b.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

// ready waits until a connection stands: no path pays for its handshake.
func ready(b *testing.B, conn *grpc.ClientConn) {
	b.Helper()
	conn.Connect()
	for state := conn.GetState(); state != connectivity.Ready; state = conn.GetState() {
		if !conn.WaitForStateChange(b.Context(), state) {
			b.Fatal("no connection")
		}
	}
}

func rowsOf(soundings []block.Sounding) []*pb.Sounding {
	out := make([]*pb.Sounding, len(soundings))
	for i, s := range soundings {
		out[i] = &pb.Sounding{Seq: uint64(i + 1), Time: timestamppb.New(time.UnixMilli(s.TimeMs)),
			LatDeg: float64(s.LatE7) / 1e7, LonDeg: float64(s.LonE7) / 1e7, ReadingM: float64(s.ReadingMM) / 1000,
			Reference: pb.ReadingReference_READING_REFERENCE_BELOW_TRANSDUCER, Quality: uint32(s.Quality)}
	}
	return out
}

// pushBlocks moves soundings as they are moved here.
func pushBlocks(b *testing.B, n int) time.Duration {
	dir := b.TempDir()
	registry, err := server.OpenAccess(dir, time.Now, rand.Reader)
	if err != nil {
		b.Fatal(err)
	}
	invitation, err := registry.Invite(server.Tenant, access.Grant{Role: access.Crew, AllPonds: true})
	if err != nil {
		b.Fatal(err)
	}
	s := startShoreWith(b, server.Config{Dir: dir, Secure: true})
	c := openBoat(b, b.TempDir())
	if _, err := c.Join(b.Context(), s.addr, invitation.Text.String(), "boat"); err != nil {
		b.Fatal(err)
	}
	conn, err := c.Dial(s.addr)
	if err != nil {
		b.Fatal(err)
	}
	closeLater(b, conn)
	record(b, c, track(n, 0.02))
	ready(b, conn)
	began := time.Now()
	if r := mustSync(b, c, conn); r.PushedEntries != uint64(n) {
		b.Fatalf("%d entries pushed, want %d", r.PushedEntries, n)
	}
	return time.Since(began)
}

// streamRows moves them as rows, in one client stream.
func streamRows(b *testing.B, n int) time.Duration {
	conn := startRows(b)
	rows := rowsOf(track(n, 0.02))
	ready(b, conn)
	began := time.Now()
	stream, err := conn.NewStream(b.Context(), &grpc.StreamDesc{ClientStreams: true}, "/rows/Stream")
	if err != nil {
		b.Fatal(err)
	}
	for len(rows) > 0 {
		k := min(len(rows), rowBatch)
		if err := stream.SendMsg(&pb.ListSoundingsResponse{Soundings: rows[:k]}); err != nil {
			b.Fatal(err)
		}
		rows = rows[k:]
	}
	if err := errors.Join(stream.CloseSend(), stream.RecvMsg(&emptypb.Empty{})); err != nil {
		b.Fatal(err)
	}
	return time.Since(began)
}

// callForEach moves them one call at a time.
func callForEach(b *testing.B, n int) time.Duration {
	conn := startRows(b)
	rows := rowsOf(track(n, 0.02))
	ready(b, conn)
	began := time.Now()
	for _, row := range rows {
		if err := conn.Invoke(b.Context(), "/rows/Put", row, &emptypb.Empty{}); err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(began)
}

// BenchmarkAgainstRows pushes soundings from a device's disk to a server's, synced
// before they are acknowledged, and the same soundings as rows under the same rule:
// the three take turns in one run, and the ratios are of their sums.
func BenchmarkAgainstRows(b *testing.B) {
	const many, few = 100_000, 1000
	var blocks, rows, calls time.Duration
	for b.Loop() {
		blocks += pushBlocks(b, many)
		rows += streamRows(b, many)
		calls += callForEach(b, few)
	}
	perSecond := func(n int, d time.Duration) float64 { return float64(n*b.N) / d.Seconds() }
	b.ReportMetric(perSecond(many, blocks), "blocks/s")
	b.ReportMetric(perSecond(many, rows), "rows/s")
	b.ReportMetric(perSecond(few, calls), "calls/s")
	b.ReportMetric(perSecond(many, blocks)/perSecond(many, rows), "times-rows")
	b.ReportMetric(perSecond(many, blocks)/perSecond(few, calls), "times-calls")
}
