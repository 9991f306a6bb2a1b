package rehearsal

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"sync/atomic"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// link is one boat's connection during one sync, with at most one fault. It is a
// real gRPC connection underneath; messages pass through here on their way to and
// from it.
type link struct {
	*grpc.ClientConn
	fault string
	at    int
	die   func()      // keeps what the boat's program leaves when it dies
	dead  atomic.Bool // it has died: nothing it says or hears counts any more
	acked func(log block.ID, through uint64)
	// refused hears of a block that the server will not take.
	refused func(frame []byte)
	minute  func()        // lets a minute pass on the boat
	alive   *atomic.Int64 // counts whatever moves

	mu       sync.Mutex
	up, down int // messages passed so far
}

var errNoNetwork = errors.New("no network")

// NewStream opens a stream whose messages are subject to the fault.
func (l *link) NewStream(ctx context.Context, desc *grpc.StreamDesc, method string, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	if l.dead.Load() {
		return nil, errNoNetwork
	}
	if l.fault == refuse {
		return nil, status.Error(codes.Unauthenticated, "the credential has expired")
	}
	s, err := l.ClientConn.NewStream(ctx, desc, method, opts...)
	if err != nil {
		return nil, err
	}
	return &stream{ClientStream: s, l: l}, nil
}

// perish lets the boat's program die.
func (l *link) perish() {
	if !l.dead.Swap(true) {
		l.die()
	}
}

type stream struct {
	grpc.ClientStream
	l     *link
	heldU proto.Message   // a message that the next ones overtake
	waits int             // how many of them still
	ready []proto.Message // messages to hand out before asking for more
	ended error           // after them
}

// count numbers the messages of a direction and says whether the fault strikes
// this one.
func (l *link) count(n *int, fault ...string) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.alive.Add(1)
	i := *n
	*n++
	for _, f := range fault {
		if l.fault == f && i == l.at {
			return f
		}
	}
	return ""
}

// SendMsg passes a message on, or does to it what the fault says.
func (s *stream) SendMsg(m any) error {
	msg, ok := m.(proto.Message)
	if !ok {
		return s.ClientStream.SendMsg(m)
	}
	switch s.l.count(&s.l.up, dropUp, dupUp, swapUp, slowUp, bendUp, cropUp, reject, dieUp) {
	case dropUp:
		return nil
	case dupUp:
		if err := s.ClientStream.SendMsg(m); err != nil {
			return err
		}
	case swapUp:
		s.heldU, s.waits = proto.Clone(msg), 1
		return nil
	case slowUp:
		s.heldU, s.waits = proto.Clone(msg), overtaking
		return nil
	case bendUp, cropUp:
		msg = proto.Clone(msg)
		damage(msg, s.l.fault, s.l.at)
	case reject:
		if req, ok := msg.(*pb.PushRequest); ok && req.GetBlock() != nil {
			s.l.refused(req.GetBlock().GetFrame())
			msg = &pb.PushRequest{Message: &pb.PushRequest_Block{Block: &pb.Block{Frame: strange(req.GetBlock().GetFrame())}}}
		}
	case dieUp:
		s.l.perish()
	}
	if s.l.dead.Load() {
		return errNoNetwork
	}
	if err := s.ClientStream.SendMsg(msg); err != nil {
		return err
	}
	if s.waits--; s.heldU != nil && s.waits <= 0 {
		held := s.heldU
		s.heldU = nil
		return s.ClientStream.SendMsg(held)
	}
	return nil
}

// overtaking is how many messages overtake one that is delayed.
const overtaking = 3

// CloseSend passes on what was held back, then the end.
func (s *stream) CloseSend() error {
	if held := s.heldU; held != nil {
		s.heldU = nil
		if err := s.ClientStream.SendMsg(held); err != nil && !errors.Is(err, io.EOF) {
			return err
		}
	}
	return s.ClientStream.CloseSend()
}

// RecvMsg hands out the next message, after the fault has had its way.
func (s *stream) RecvMsg(m any) error {
	out, ok := m.(proto.Message)
	if !ok {
		return s.ClientStream.RecvMsg(m)
	}
	for len(s.ready) == 0 {
		if s.ended != nil {
			return s.ended
		}
		proto.Reset(out)
		if err := s.ClientStream.RecvMsg(out); err != nil {
			return err
		}
		s.take(proto.Clone(out))
	}
	if s.l.dead.Load() {
		return errNoNetwork
	}
	proto.Reset(out)
	proto.Merge(out, s.ready[0])
	s.ready = s.ready[1:]
	s.note(out)
	return nil
}

// take puts a received message where RecvMsg finds it.
func (s *stream) take(msg proto.Message) {
	possible := []string{dupDown, bendDown, dieDown}
	if pushResponse(msg) != nil { // a pull rests on the stream's order, as it may
		possible = append(possible, dropDown, swapDown, slowDown)
	}
	switch s.l.count(&s.l.down, possible...) {
	case dropDown:
		return
	case dupDown:
		s.ready = append(s.ready, msg)
	case swapDown:
		s.overtake(msg, 1)
	case slowDown:
		s.overtake(msg, overtaking)
	case bendDown:
		damage(msg, bendDown, s.l.at)
	case dieDown:
		s.l.perish()
	}
	s.ready = append(s.ready, msg)
}

// overtake lets some messages go before one.
func (s *stream) overtake(msg proto.Message, n int) {
	for range n {
		next := msg.ProtoReflect().New().Interface()
		if err := s.ClientStream.RecvMsg(next); err != nil {
			s.ended = err
			return
		}
		s.ready = append(s.ready, next)
	}
}

func pushResponse(msg proto.Message) *pb.PushResponse {
	r, _ := msg.(*pb.PushResponse)
	return r
}

// note keeps what the boat was promised.
func (s *stream) note(msg proto.Message) {
	r := pushResponse(msg)
	if ack := r.GetAck(); ack != nil {
		s.l.acked(block.ID(ack.GetLogId()), ack.GetDurableThrough())
	}
	for _, l := range r.GetWelcome().GetLogs() {
		if l.GetState() == pb.ResumeState_RESUME_STATE_RESUME {
			s.l.acked(block.ID(l.GetLogId()), l.GetResumeAfter())
		}
	}
}

// damage spoils the frame that a message carries, if it carries one.
func damage(msg proto.Message, fault string, at int) {
	var b *pb.Block
	switch m := msg.(type) {
	case *pb.PushRequest:
		b = m.GetBlock()
	case *pb.PullResponse:
		b = m.GetBlock()
	}
	frame := b.GetFrame()
	if len(frame) == 0 {
		return
	}
	draw := rand.New(rand.NewPCG(uint64(len(frame)), uint64(at))) //nolint:gosec // a rehearsal has to repeat itself
	if fault == cropUp {
		b.Frame = frame[:draw.IntN(len(frame))]
		return
	}
	frame[draw.IntN(len(frame))] ^= 1 << draw.IntN(8)
}

// strange returns a sound frame in a codec that nobody knows.
func strange(frame []byte) []byte {
	out := bytes.Clone(frame)
	out[1] = 77
	body := out[:len(out)-4]
	binary.BigEndian.PutUint32(out[len(body):], crc32.Checksum(body, crc32.MakeTable(crc32.Castagnoli)))
	return out
}

// wire is the boat's end of the byte stream: it breaks, or falls silent, after so
// many bytes.
type wire struct {
	net.Conn
	l      *link
	sent   atomic.Int64
	silent atomic.Bool
	chunks chan []byte // what arrived; closed when the far end has ended
	rest   []byte      // of the last chunk
	closed chan struct{}
	once   sync.Once
}

func newWire(c net.Conn, l *link) *wire {
	w := &wire{Conn: c, l: l, chunks: make(chan []byte), closed: make(chan struct{})}
	go w.pump()
	return w
}

// pump reads what arrives until the far end ends: for a silent wire that is when
// the server does.
func (w *wire) pump() {
	defer close(w.chunks)
	for read := 0; ; {
		chunk := make([]byte, 32<<10)
		n, err := w.Conn.Read(chunk)
		if err != nil {
			return
		}
		w.l.alive.Add(int64(n))
		if read += n; read > w.l.at {
			switch w.l.fault {
			case cutDown:
				_ = w.Conn.Close() // in memory: cannot fail in a way that matters
				return
			case muteDown:
				w.silent.Store(true)
			}
		}
		if w.silent.Load() {
			continue
		}
		select {
		case w.chunks <- chunk[:n]:
		case <-w.closed:
		}
	}
}

func (w *wire) Write(b []byte) (int, error) {
	w.l.alive.Add(int64(len(b)))
	if w.sent.Add(int64(len(b))) > int64(w.l.at) {
		switch w.l.fault {
		case cutUp:
			return 0, errors.Join(errNoNetwork, w.Close())
		case muteUp:
			w.silent.Store(true)
		}
	}
	if w.l.fault == trickle {
		for range 1 + len(b)/flightBytes {
			w.l.minute()
		}
	}
	if w.silent.Load() {
		return len(b), nil
	}
	return w.Conn.Write(b)
}

func (w *wire) Read(b []byte) (int, error) {
	for len(w.rest) == 0 {
		select {
		case chunk, ok := <-w.chunks:
			if ok {
				w.rest = chunk
				continue
			}
			if !w.silent.Load() {
				return 0, io.EOF
			}
			<-w.closed
			return 0, net.ErrClosed
		case <-w.closed:
			return 0, net.ErrClosed
		}
	}
	n := copy(b, w.rest)
	w.rest = w.rest[n:]
	if w.l.fault == trickle {
		w.l.minute()
	}
	return n, nil
}

// flightBytes is what two packets carry.
const flightBytes = 2 * 1400

// Close closes the boat's end. The far end of a silent wire learns nothing: it is
// left open until the server ends.
func (w *wire) Close() error {
	w.once.Do(func() { close(w.closed) })
	if w.silent.Load() {
		return nil
	}
	return w.Conn.Close()
}
