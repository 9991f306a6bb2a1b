package server

import (
	"fmt"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

// Conversion between the messages of SyncService and what the rest works with.

func headsOf(logs []*pb.LogHead) ([]exchange.Head, error) {
	out := make([]exchange.Head, 0, len(logs))
	seen := map[block.ID]bool{}
	for _, l := range logs {
		log, err := block.IDFromBytes(l.GetLogId())
		if err != nil || log.IsZero() || seen[log] || len(l.GetHeadHash()) != 32 {
			return nil, fmt.Errorf("%w: log %x is missing, malformed or named twice", exchange.ErrProtocol, l.GetLogId())
		}
		seen[log] = true
		out = append(out, exchange.Head{Log: log, Last: l.GetLastSeq(), Hash: block.Hash(l.GetHeadHash())})
	}
	return out, nil
}

func marksOf(logs []*pb.LogHead) (map[block.ID][]exchange.Mark, error) {
	out := map[block.ID][]exchange.Mark{}
	for _, l := range logs {
		for _, m := range l.GetMarks() {
			if len(m.GetHash()) != 32 {
				return nil, fmt.Errorf("%w: mark of log %x is malformed", exchange.ErrProtocol, l.GetLogId())
			}
			log := block.ID(l.GetLogId()) // headsOf has seen it
			out[log] = append(out[log], exchange.Mark{Last: m.GetLastSeq(), Hash: block.Hash(m.GetHash())})
		}
	}
	return out, nil
}

func pondsOf(ids [][]byte) ([]block.ID, error) {
	out := make([]block.ID, 0, len(ids))
	for _, id := range ids {
		pond, err := block.IDFromBytes(id)
		if err != nil || pond.IsZero() {
			return nil, fmt.Errorf("%w: pond %x is malformed", exchange.ErrProtocol, id)
		}
		out = append(out, pond)
	}
	return out, nil
}

func resumeMessage(r exchange.Resume) *pb.LogResume {
	m := &pb.LogResume{LogId: r.Log[:], ResumeAfter: r.After, HashAtResume: r.Hash[:], ArchivedThrough: r.Archived}
	switch r.State {
	case exchange.Known:
		m.State = pb.ResumeState_RESUME_STATE_RESUME
	case exchange.New:
		m.State = pb.ResumeState_RESUME_STATE_UNKNOWN
	case exchange.Parted:
		m.State = pb.ResumeState_RESUME_STATE_FORKED
	}
	return m
}

func ackMessage(log block.ID, through, archived uint64) *pb.PushResponse {
	return &pb.PushResponse{Message: &pb.PushResponse_Ack{Ack: &pb.Ack{LogId: log[:], DurableThrough: through, ArchivedThrough: archived}}}
}

func nackMessage(log block.ID, first uint64, reason pb.Reason, retryable bool, text string) *pb.PushResponse {
	return &pb.PushResponse{Message: &pb.PushResponse_Nack{Nack: &pb.Nack{
		LogId: log[:], FirstSeq: first, Reason: reason, Retryable: retryable, Message: text}}}
}
