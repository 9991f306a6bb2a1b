package client

import (
	"fmt"

	"pondwright/proto/block"
	"pondwright/proto/exchange"
	pb "pondwright/proto/pondwright/v1"
)

func headMessage(h exchange.Head) *pb.LogHead {
	return &pb.LogHead{LogId: h.Log[:], LastSeq: h.Last, HeadHash: h.Hash[:]}
}

func resumesOf(logs []*pb.LogResume) ([]exchange.Resume, error) {
	out := make([]exchange.Resume, 0, len(logs))
	for _, l := range logs {
		log, err := block.IDFromBytes(l.GetLogId())
		if err != nil || len(l.GetHashAtResume()) != 32 {
			return nil, fmt.Errorf("%w: answer for log %x is malformed", exchange.ErrProtocol, l.GetLogId())
		}
		r := exchange.Resume{Log: log, After: l.GetResumeAfter(), Hash: block.Hash(l.GetHashAtResume()), Archived: l.GetArchivedThrough()}
		switch l.GetState() {
		case pb.ResumeState_RESUME_STATE_RESUME:
			r.State = exchange.Known
		case pb.ResumeState_RESUME_STATE_UNKNOWN:
			r.State = exchange.New
		case pb.ResumeState_RESUME_STATE_FORKED:
			r.State = exchange.Parted
		case pb.ResumeState_RESUME_STATE_UNSPECIFIED: // as a server too new for us would say it
		}
		out = append(out, r)
	}
	return out, nil
}
