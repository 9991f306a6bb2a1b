// Package exchange holds the rules by which a device and a server exchange logs:
// what a server makes of a log it is offered, what either end makes of a block it
// receives, how many bytes may be under way, where a pull goes on, what the versions
// of a record come to, and how hybrid clocks advance. Both ends use the same rules.
//
// It does no I/O, reads no clock and starts no goroutine: its callers move the bytes
// and tell it what happened. Of all messages it knows the outside of a Record.
//
// A push, seen from the device:
//
//	s := exchange.NewSender(heads)          // Hello carries the heads
//	s.Assume(log, durable)                  // then Next and Sent may come before Welcome
//	s.Welcome(answers, window, ownHash)
//	for !s.Done() {
//		log, first, ok := s.Next()          // send the block that starts there …
//		s.Sent(log, last, size)             // … if s.Fits(size)
//		s.Ack(log, through)                 // when one comes
//	}
//
// and from the server: Answer for each head in Hello, then Judge for each block,
// under the lock under which it is stored.
//
// Records, at either end: ParseVersion for each, Resolve for all of a pond, and
// Draft for what to write next.
package exchange
