package server

import (
	"fmt"
	"sync"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// Rates is how often one device may call and how much it may send: so much at once,
// and then so much a second. A zero field takes its default.
type Rates struct {
	Calls, CallsPerSecond   float64 // pushes and pulls; 600 and 10
	Blocks, BlocksPerSecond float64 // 4,096, which is 2 million soundings, and 50
}

func (r Rates) orDefault() Rates {
	for _, d := range []struct {
		field *float64
		value float64
	}{{&r.Calls, 600}, {&r.CallsPerSecond, 10}, {&r.Blocks, 4096}, {&r.BlocksPerSecond, 50}} {
		if *d.field <= 0 {
			*d.field = d.value
		}
	}
	return r
}

// rates keeps one allowance for each device and kind of use. What nobody has used for
// long enough to be full again is forgotten.
type rates struct {
	limit Rates
	now   func() time.Time

	mu   sync.Mutex
	left map[rateKey]*allowance
}

type rateKey struct {
	device block.ID
	blocks bool
}

type allowance struct {
	left float64
	at   time.Time
}

const ratesKept = 10_000

func newRates(limit Rates, now func() time.Time) *rates {
	return &rates{limit: limit.orDefault(), now: now, left: map[rateKey]*allowance{}}
}

// take uses one call or one block up, or returns a *rateError. The zero device is the
// operator on this machine, who may do as much as they like.
func (r *rates) take(device block.ID, blocks bool) error {
	if device.IsZero() {
		return nil
	}
	most, perSecond := r.limit.Calls, r.limit.CallsPerSecond
	if blocks {
		most, perSecond = r.limit.Blocks, r.limit.BlocksPerSecond
	}
	now := r.now()
	r.mu.Lock()
	defer r.mu.Unlock()
	key := rateKey{device, blocks}
	a := r.left[key]
	if a == nil {
		r.forget(now)
		a = &allowance{left: most, at: now}
		r.left[key] = a
	}
	a.left = min(most, a.left+perSecond*max(0, now.Sub(a.at).Seconds()))
	a.at = now
	if a.left < 1 {
		return &rateError{wait: time.Duration((1 - a.left) / perSecond * float64(time.Second)), blocks: blocks}
	}
	a.left--
	return nil
}

// forget makes room once there are many.
func (r *rates) forget(now time.Time) {
	if len(r.left) < ratesKept {
		return
	}
	slowest := max(r.limit.Calls/r.limit.CallsPerSecond, r.limit.Blocks/r.limit.BlocksPerSecond)
	for key, a := range r.left {
		if now.Sub(a.at).Seconds() >= slowest {
			delete(r.left, key)
		}
	}
}

// rateError tells a device to come back later.
type rateError struct {
	wait   time.Duration
	blocks bool
}

func (e *rateError) Error() string {
	return fmt.Sprintf("too many %s from this device; go on in %v", e.what(), e.wait.Round(time.Millisecond))
}

func (e *rateError) what() string {
	if e.blocks {
		return "blocks"
	}
	return "calls"
}

// GRPCStatus returns the refusal as it is sent.
func (e *rateError) GRPCStatus() *status.Status {
	return with(status.New(codes.ResourceExhausted, e.Error()), info(pb.Reason_REASON_RATE_LIMITED, nil),
		&errdetails.RetryInfo{RetryDelay: durationpb.New(e.wait)},
		&errdetails.QuotaFailure{Violations: []*errdetails.QuotaFailure_Violation{{Subject: e.what(), Description: e.Error()}}})
}
