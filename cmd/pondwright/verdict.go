package main

import (
	"encoding/hex"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"pondwright/geo/bed"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

func (m *Main) verdictCommand() *cobra.Command {
	var dir, pond, log, reason, author string
	var seq uint64
	var accept, reject bool
	c := &cobra.Command{
		Use:   "verdict --store DIR --pond NAME --log ID --number N (--accept | --reject | --adjust DEPTH) --because WHY --by WHO",
		Short: "A person's word on one sounding: it outranks every automatic rule",
		Long: "Put a person's word on one sounding on record: use it, leave it out, or use another\n" +
			"depth. The sounding itself stays as it was taken, and a later verdict takes this one's\n" +
			"place. Log and number stand in the warnings and in the soundings as a server lists them.",
		Args: cobra.NoArgs,
	}
	c.Flags().StringVar(&dir, "store", "", "folder of the device's store")
	c.Flags().StringVar(&pond, "pond", "", "name of the pond")
	c.Flags().StringVar(&log, "log", "", "the log that holds the sounding, 32 hexadecimal digits")
	c.Flags().Uint64Var(&seq, "number", 0, "the sounding's number in that log")
	c.Flags().BoolVar(&accept, "accept", false, "use it, whatever a rule says")
	c.Flags().BoolVar(&reject, "reject", false, "leave it out")
	f := &form{units: &m.units, flags: c.Flags()}
	depth := ask(f, "adjust", ofLength, "", "use it with this depth below the water surface of its day")
	c.Flags().StringVar(&reason, "because", "", "why")
	c.Flags().StringVar(&author, "by", "", "who decides")
	require(c, "store", "pond", "log", "number", "because", "by")
	c.MarkFlagsOneRequired("accept", "reject", "adjust")
	c.MarkFlagsMutuallyExclusive("accept", "reject", "adjust")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if d := float64(depth.v()); d < 0 || d > bed.MaxDepthM {
			return usagef("--adjust: no pond is %g m deep", d)
		}
		raw, err := hex.DecodeString(log)
		if err != nil {
			return usagef("--log: %w", err)
		}
		id, err := block.IDFromBytes(raw)
		if err != nil {
			return usagef("--log: %w", err)
		}
		correction := &pb.Correction{LogId: id[:], Seq: seq, Reason: reason, Person: author, Action: pb.CorrectionAction_CORRECTION_ACTION_ACCEPT}
		switch {
		case reject:
			correction.Action = pb.CorrectionAction_CORRECTION_ACTION_REJECT
		case depth.has():
			correction.Action, correction.DepthM = pb.CorrectionAction_CORRECTION_ACTION_ADJUST, new(float64(depth.v()))
		}
		store, err := openStore(c.Context(), dir)
		if err != nil {
			return err
		}
		a := adder{store: store, pond: block.PondID(pond), name: pond, author: author}
		if err = a.judge(c, correction); err == nil {
			fmt.Fprintf(m.Out, "on record for sounding %d of log %s\n", seq, log)
		}
		return errors.Join(err, store.Close())
	}
	return c
}

// judge records a correction in the place of an earlier one of the same sounding.
func (a *adder) judge(c *cobra.Command, correction *pb.Correction) error {
	records, err := a.store.Records(c.Context(), a.pond)
	if err != nil {
		return err
	}
	r := &pb.Record{Kind: &pb.Record_Correction{Correction: correction}}
	for _, held := range records {
		if old := held.Message.GetCorrection(); old != nil && string(old.GetLogId()) == string(correction.GetLogId()) && old.GetSeq() == correction.GetSeq() {
			r.RecordId = held.Message.GetRecordId()
		}
	}
	return a.record(c.Context(), r)
}
