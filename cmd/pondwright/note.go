package main

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/calc/unit"
	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
)

// noteFlags are what every note says.
type noteFlags struct {
	store, pond, by, at, text string
}

func (m *Main) noteCommand() *cobra.Command {
	var n noteFlags
	c := &cobra.Command{
		Use:   "note",
		Short: "Write down facts of pond, day and equipment, and what was seen or done, with or without a network",
		Args:  cobra.NoArgs,
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	f := c.PersistentFlags()
	f.StringVar(&n.store, "store", "", "folder of the device's store; made if missing")
	f.StringVar(&n.pond, "pond", "", "name of the pond")
	f.StringVar(&n.by, "by", "", "who saw or did it")
	f.StringVar(&n.at, "time", "", "when, as 2026-06-09T14:00:00-05:00 (default now)")
	f.StringVar(&n.text, "text", "", "anything worth knowing")
	for _, name := range []string{"store", "pond"} {
		if err := c.MarkPersistentFlagRequired(name); err != nil {
			panic(err) //nolint:forbidigo // names a flag that the command does not have: a bug, not input
		}
	}
	c.AddCommand(failing(m.notePondCommand(&n)), failing(m.noteVisitCommand(&n)), failing(m.noteZonesCommand(&n)), failing(m.noteMastCommand(&n)), failing(m.noteEquipmentCommand(&n)),
		failing(m.noteGaugesCommand(&n)), failing(m.noteWorkCommand(&n)), failing(m.noteSetCommand(&n)))
	return c
}

// write opens the store and lets f write.
func (n *noteFlags) write(c *cobra.Command, out io.Writer, f func(store *client.Client, pond block.ID, at *timestamppb.Timestamp) error) error {
	if block.NormalizeName(n.pond) == "" {
		return usagef("--pond: a pond needs a name")
	}
	at := time.Now()
	if n.at != "" {
		var err error
		if at, err = time.Parse(time.RFC3339, n.at); err != nil {
			return usagef("--time: %q is not written as 2026-06-09T14:00:00-05:00", n.at)
		}
	}
	store, err := client.Open(c.Context(), n.store)
	if err != nil {
		return err
	}
	err = f(store, block.PondID(n.pond), timestamppb.New(at))
	if closed := store.Close(); err == nil {
		err = closed
	}
	if err == nil {
		fmt.Fprintln(out, "written down; sync when you can")
	}
	return err
}

// readQuantity reads a flag with its unit into a field in SI, and leaves it alone where
// it was not given.
func readQuantity[T ~float64](m *Main, to **float64, flag, text string, of measure[T], si func(T) float64, lo, hi float64) error {
	if text == "" {
		return nil
	}
	v, err := of.parse(text, m.units)
	if err != nil {
		return usagef("%s: %w", flag, err)
	}
	x := si(T(v))
	if !(x >= lo && x <= hi) || math.IsNaN(x) {
		return usagef("%s: %s is out of range", flag, text)
	}
	*to = &x
	return nil
}

func asIs[T ~float64](v T) float64 { return float64(v) }

func (m *Main) noteGaugesCommand(n *noteFlags) *cobra.Command {
	var pressure, current, volts, level, airTemp string
	var boils map[string]string
	r := &pb.Reading{}
	c := &cobra.Command{
		Use:   "gauges --store DIR --pond NAME --pressure 6.2psi --amps 8 --boil D1=2,D2=2",
		Short: "What the gauges and the boils show while it runs",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			for _, err := range []error{
				readQuantity(m, &r.PressurePaGauge, "--pressure", pressure, ofGauge, asIs, 0, 2e6),
				readQuantity(m, &r.CurrentA, "--amps", current, ofCurrent, asIs, 0, 1000),
				readQuantity(m, &r.VoltageV, "--volts", volts, ofVolts, asIs, 0, 1000),
				readQuantity(m, &r.WaterLevelM, "--level", level, ofLength, asIs, -500, 9000),
				readQuantity(m, &r.AirTempC, "--air", airTemp, ofTemperature, unit.Kelvin.Celsius, -50, 70),
			} {
				if err != nil {
					return err
				}
			}
			var err error
			if r.Boils, err = parseBoils(boils); err != nil {
				return err
			}
			if r.PressurePaGauge == nil && r.CurrentA == nil && r.VoltageV == nil && len(r.GetBoils()) == 0 {
				return usagef("say at least one of --pressure, --amps, --volts, --boil")
			}
			return n.write(c, m.Out, func(store *client.Client, pond block.ID, at *timestamppb.Timestamp) error {
				r.TakenAt, r.Note = at, n.text
				return store.RecordReading(c.Context(), pond, n.by, r)
			})
		},
	}
	f := c.Flags()
	f.StringVar(&pressure, "pressure", "", "in the manifold, as 6.2psi or 43kPa")
	f.StringVar(&current, "amps", "", "that the compressor draws")
	f.StringVar(&volts, "volts", "", "at the compressor")
	f.StringVar(&level, "level", "", "water level above the benchmark, as 2.1ft or 0.64m")
	f.StringVar(&airTemp, "air", "", "temperature of the air that it takes in, as 88F or 31C")
	f.StringToStringVar(&boils, "boil", nil, "how strongly it boils above each diffuser: 0 not at all, 1 weakly, 2 as usual, 3 strongly")
	f.StringVar(&r.Station, "station", "", "number of the station on the plan, from 1, where there are several")
	return c
}

func parseBoils(boils map[string]string) ([]*pb.BoilReading, error) {
	var out []*pb.BoilReading
	for _, label := range sortedKeys(boils) {
		v, err := strconv.ParseUint(boils[label], 10, 8)
		if err != nil || v > 3 {
			return nil, usagef("--boil: %s=%s: write 0, 1, 2 or 3", label, boils[label])
		}
		out = append(out, &pb.BoilReading{Label: label, Boil: uint32(v)})
	}
	return out, nil
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// workNames are the works by the words of the command.
var workNames = map[string]pb.ServiceWork{
	"commissioned": pb.ServiceWork_SERVICE_WORK_COMMISSIONED, "filter": pb.ServiceWork_SERVICE_WORK_FILTER, "valve": pb.ServiceWork_SERVICE_WORK_VALVE,
	"diffuser": pb.ServiceWork_SERVICE_WORK_DIFFUSER, "hose": pb.ServiceWork_SERVICE_WORK_HOSE, "compressor": pb.ServiceWork_SERVICE_WORK_COMPRESSOR,
	"on": pb.ServiceWork_SERVICE_WORK_SWITCHED_ON, "off": pb.ServiceWork_SERVICE_WORK_SWITCHED_OFF, "drained": pb.ServiceWork_SERVICE_WORK_DRAINED,
	"other": pb.ServiceWork_SERVICE_WORK_OTHER,
}

func (m *Main) noteWorkCommand(n *noteFlags) *cobra.Command {
	var labels []string
	c := &cobra.Command{
		Use:   "work --store DIR --pond NAME WORK",
		Short: "Work on the equipment: " + strings.Join(sortedKeys(workNames), ", "),
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			work, ok := workNames[args[0]]
			if !ok {
				return usagef("%q is none of %s", args[0], strings.Join(sortedKeys(workNames), ", "))
			}
			return n.write(c, m.Out, func(store *client.Client, pond block.ID, at *timestamppb.Timestamp) error {
				return store.RecordService(c.Context(), pond, n.by, &pb.Service{DoneAt: at, Work: work, Labels: labels, Person: n.by, Note: n.text})
			})
		},
	}
	c.Flags().StringSliceVar(&labels, "label", nil, "the diffusers or stations it was done to (default all)")
	return c
}

func (m *Main) noteSetCommand(n *noteFlags) *cobra.Command {
	var place, depth, level, hose string
	a := &pb.AsBuilt{}
	c := &cobra.Command{
		Use:   "set --store DIR --pond NAME --at LAT,LON --depth 13.5ft LABEL",
		Short: "Where a diffuser was really set",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			at, err := parseLatLng(place)
			if err != nil {
				return usagef("--at: %w", err)
			}
			for _, err := range []error{
				readQuantity(m, &a.DepthM, "--depth", depth, ofLength, asIs, 0, 100),
				readQuantity(m, &a.WaterLevelM, "--level", level, ofLength, asIs, -500, 9000),
				readQuantity(m, &a.HoseM, "--hose", hose, ofLength, asIs, 0, 5000),
			} {
				if err != nil {
					return err
				}
			}
			return n.write(c, m.Out, func(store *client.Client, pond block.ID, when *timestamppb.Timestamp) error {
				a.Label, a.SetAt, a.LatDeg, a.LonDeg, a.Person, a.Note = args[0], when, at.Lat.Degrees(), at.Lng.Degrees(), n.by, n.text
				return store.RecordAsBuilt(c.Context(), pond, n.by, a)
			})
		},
	}
	f := c.Flags()
	f.StringVar(&place, "at", "", "where, as LAT,LON in degrees")
	f.StringVar(&depth, "depth", "", "depth of the water there, as 13.5ft or 4.1m")
	f.StringVar(&level, "level", "", "water level above the benchmark, as 2.1ft or 0.64m")
	f.StringVar(&hose, "hose", "", "hose laid to it, as 240ft or 73m")
	f.StringVar(&a.PlanId, "plan", "", "id of the plan it was set by")
	require(c, "at")
	return c
}
