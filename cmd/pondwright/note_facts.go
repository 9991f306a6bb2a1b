package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"buf.build/go/protovalidate"
	"github.com/golang/geo/s1"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"pondwright/calc/sound"
	"pondwright/calc/unit"
	"pondwright/client"
	"pondwright/client/intake"
	"pondwright/proto/block"
	"pondwright/proto/digest"
	pb "pondwright/proto/pondwright/v1"
	planservice "pondwright/server/plan"
)

// facts opens the store of a pond that is on record there and lets f write.
func (n *noteFlags) facts(c *cobra.Command, m *Main, f func(a *adder, at *timestamppb.Timestamp) error) error {
	return n.write(c, m.Out, func(store *client.Client, pond block.ID, at *timestamppb.Timestamp) error {
		a := &adder{store: store, pond: pond, name: n.pond, author: n.by, out: m.Out, err: m.Err}
		if err := a.recordPond(c.Context(), &pb.Pond{Name: n.pond}); err != nil {
			return err
		}
		return f(a, at)
	})
}

// put records what change makes of the fact that stands under an id, or of a blank
// one. A fact that comes out as it was adds nothing, and one that the contract does
// not admit is refused by its field.
func put[M proto.Message](ctx context.Context, a *adder, what string, id block.ID, of func(*pb.Record) M, blank *pb.Record, change func(M) error) error {
	things, err := a.store.Things(ctx, a.pond)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(things, func(t client.Thing) bool {
		return t.ID == id && t.Message != nil && of(t.Message).ProtoReflect().IsValid()
	})
	rec := blank
	if i >= 0 {
		rec = proto.CloneOf(things[i].Message)
		rec.Deleted = false
	}
	rec.RecordId = id[:]
	if err := change(of(rec)); err != nil {
		return err
	}
	if err := admitted(what, of(rec)); err != nil {
		return err
	}
	switch {
	case i < 0:
		err = a.record(ctx, rec)
	case proto.Equal(rec, things[i].Message):
		fmt.Fprintf(a.out, "%s: on record as it is\n", what)
		return nil
	default:
		_, err = a.store.Edit(ctx, a.pond, things[i], a.author, func(r *pb.Record) {
			r.Deleted = false
			proto.Reset(of(r))
			proto.Merge(of(r), of(rec))
		})
	}
	if err == nil {
		fmt.Fprintf(a.out, "%s: on record\n", what)
	}
	return err
}

// admitted holds a message against the contract.
func admitted(what string, m proto.Message) error {
	err := protovalidate.Validate(m)
	var bad *protovalidate.ValidationError
	if !errors.As(err, &bad) {
		return err
	}
	var all error
	for _, v := range bad.Violations {
		all = errors.Join(all, fmt.Errorf("%s: %s: %s", what, protovalidate.FieldPathString(v.Proto.GetField()), v.Proto.GetMessage()))
	}
	return all
}

// fromJSON puts what a file of proto JSON says in place of all of m; no file leaves it.
func fromJSON(files []string, m proto.Message) error {
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		if err := protojson.Unmarshal(data, m); err != nil {
			return fmt.Errorf("%s: %w; names and units are those of the message %s in the contract", name, err, m.ProtoReflect().Descriptor().Name())
		}
	}
	return nil
}

func (m *Main) notePondCommand(n *noteFlags) *cobra.Command {
	var uses []string
	var owner, place, benchmark, full, low, highest string
	var dam, noDam bool
	c := &cobra.Command{
		Use:   "pond --store DIR --pond NAME --use warm-water-fish --full 2ft --highest 3ft",
		Short: "What the pond is used for, its levels over the benchmark, and whether there is a dam",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			given := &pb.Pond{}
			for _, err := range []error{
				readQuantity(m, &given.FullLevelM, "--full", full, ofLength, asIs, -500, 9000),
				readQuantity(m, &given.UsualLowLevelM, "--low", low, ofLength, asIs, -500, 9000),
				readQuantity(m, &given.HighestLevelM, "--highest", highest, ofLength, asIs, -500, 9000),
			} {
				if err != nil {
					return err
				}
			}
			for _, word := range uses {
				use, ok := pondUses()[word]
				if !ok {
					return usagef("--use: %q is none of %s", word, strings.Join(sortedKeys(pondUses()), ", "))
				}
				given.Uses = append(given.Uses, use)
			}
			given.Owner, given.Place, given.BenchmarkNote = owner, place, benchmark
			switch {
			case dam && noDam:
				return usagef("--dam and --no-dam contradict each other")
			case dam:
				given.Dam = pb.ZoneAnswer_ZONE_ANSWER_PRESENT
			case noDam:
				given.Dam = pb.ZoneAnswer_ZONE_ANSWER_NONE
			}
			return n.facts(c, m, func(a *adder, _ *timestamppb.Timestamp) error {
				return put(c.Context(), a, "pond", a.pond, (*pb.Record).GetPond, &pb.Record{Kind: &pb.Record_Pond{Pond: &pb.Pond{Name: n.pond}}}, func(p *pb.Pond) error {
					if len(given.GetUses()) > 0 {
						p.Uses = nil // the uses given are all of them
					}
					proto.Merge(p, given)
					return nil
				})
			})
		},
	}
	f := c.Flags()
	f.StringSliceVar(&uses, "use", nil, "all it is used for: "+strings.Join(sortedKeys(pondUses()), ", "))
	f.StringVar(&owner, "owner", "", "a label for the owner")
	f.StringVar(&place, "place", "", "where it is, in words")
	f.StringVar(&benchmark, "benchmark", "", "how to find the benchmark again")
	f.StringVar(&full, "full", "", "level of the full pond over the benchmark, as 2ft or 0.6m")
	f.StringVar(&low, "low", "", "level of a usual dry season over the benchmark")
	f.StringVar(&highest, "highest", "", "highest level expected over the benchmark")
	f.BoolVar(&dam, "dam", false, "there is a dam; draw it as a zone")
	f.BoolVar(&noDam, "no-dam", false, "there is no dam")
	return c
}

// pondUses are the uses by the words of the command.
func pondUses() map[string]pb.PondUse {
	out := make(map[string]pb.PondUse)
	for v, name := range pb.PondUse_name {
		if v != 0 {
			out[strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, "POND_USE_"), "_", "-"))] = pb.PondUse(v)
		}
	}
	return out
}

func (m *Main) noteZonesCommand(n *noteFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "zones --store DIR --pond NAME FILE…",
		Short: "Places with a rule of their own, GeoJSON features with a property kind: " + strings.Join(intake.ZoneKinds(), ", "),
		Long:  "Put zones on record. A zone with a name takes the place of the one of its kind and name\nthat is on record; one without a name is known by its corners.",
		Args:  cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, files []string) error {
			var zones []*pb.Zone
			for _, name := range files {
				list, err := readZones(name)
				if err != nil {
					return err
				}
				zones = append(zones, planservice.ZoneMessages(list)...)
			}
			return n.facts(c, m, func(a *adder, _ *timestamppb.Timestamp) error {
				seen := make(map[string]int)
				for _, z := range zones {
					kind := strings.ToLower(strings.TrimPrefix(z.GetKind().String(), "ZONE_KIND_"))
					what := strings.TrimSpace(fmt.Sprintf("zone %s %s", kind, z.GetName()))
					named := what
					if z.GetName() == "" {
						named += fmt.Sprintf("%x", digest.Of(z))
					}
					seen[named]++
					id := a.named("zone", named, seen[named])
					if err := put(c.Context(), a, what, id, (*pb.Record).GetZone, &pb.Record{Kind: &pb.Record_Zone{Zone: &pb.Zone{}}}, replacing(z)); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
}

// replacing makes a change that leaves nothing but what is given.
func replacing[M proto.Message](given M) func(M) error {
	return func(m M) error {
		proto.Reset(m)
		proto.Merge(m, given)
		return nil
	}
}

// named makes the id of a thing of the pond from what it is called and which of that
// name it is, so that it stays the same whoever says it.
func (a *adder) named(kind, name string, which int) block.ID {
	h := sha256.New()
	fmt.Fprintf(h, "pondwright %s 1\x00%s\x00%s\x00%d", kind, a.pond, name, which)
	return block.ID(h.Sum(nil)[:16])
}

func (m *Main) noteMastCommand(n *noteFlags) *cobra.Command {
	var place, altitude, horizon, confirmed string
	c := &cobra.Command{
		Use:   "mast --store DIR --pond NAME --at LAT,LON [--horizon FILE] [SITE.json]",
		Short: "Where the mast stands and the skyline seen from there",
		Long:  "Put the mast's site on record. Flags change what is on record or what the file says: a\nMastSite of the contract as JSON, in which the pole, the wind and the soil stand too.",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, files []string) error {
			var altitudeM *float64
			if err := readQuantity(m, &altitudeM, "--altitude", altitude, ofLength, asIs, -500, 6000); err != nil {
				return err
			}
			sights, err := readHorizon(horizon)
			if err != nil {
				return err
			}
			return n.facts(c, m, func(a *adder, at *timestamppb.Timestamp) error {
				return put(c.Context(), a, "mast site", a.pond, (*pb.Record).GetMastSite, &pb.Record{Kind: &pb.Record_MastSite{MastSite: &pb.MastSite{}}}, func(s *pb.MastSite) error {
					if err := fromJSON(files, s); err != nil {
						return err
					}
					if place != "" {
						ll, err := parseLatLng(place)
						if err != nil {
							return usagef("--at: %w", err)
						}
						s.LatDeg, s.LonDeg = degrees(ll.Lat.Degrees()), degrees(ll.Lng.Degrees())
					}
					if s.GetLatDeg() == 0 && s.GetLonDeg() == 0 {
						return usagef("say where the mast stands: --at LAT,LON")
					}
					if altitudeM != nil {
						s.AltitudeM = altitudeM
					}
					if horizon != "" {
						s.HorizonSeen, s.Horizon = true, sights
					}
					if confirmed != "" && confirmed != s.GetConfirmedBy() {
						s.ConfirmedBy, s.ConfirmedAt = confirmed, at
					}
					return nil
				})
			})
		},
	}
	f := c.Flags()
	f.StringVar(&place, "at", "", "where, as LAT,LON in degrees")
	f.StringVar(&altitude, "altitude", "", "height above sea level, as 1020ft or 310m")
	f.StringVar(&horizon, "horizon", "", "skyline, CSV with the columns azimuth_deg,elevation_deg; open where it is open all round")
	f.StringVar(&confirmed, "confirmed-by", "", "who confirmed the site on the ground")
	return c
}

// readHorizon reads a file of sights, true bearing and elevation.
func readHorizon(name string) ([]*pb.HorizonPoint, error) {
	if name == "" || name == "open" {
		return nil, nil
	}
	return readPairs(name, siUnits, "azimuth", ofAngle, "elevation", ofAngle, func(azimuth, elevation s1.Angle) *pb.HorizonPoint {
		return &pb.HorizonPoint{AzimuthDeg: degrees(float64(azimuth / s1.Degree)), ElevationDeg: degrees(float64(elevation / s1.Degree))}
	})
}

func (m *Main) noteEquipmentCommand(n *noteFlags) *cobra.Command {
	var prices string
	c := &cobra.Command{
		Use:   "equipment --store DIR --pond NAME [--prices FILE] [EQUIPMENT.json]",
		Short: "The equipment there is or that will be bought, and the price list",
		Long:  "Put the equipment on record: an EquipmentChoice of the contract as JSON, with the\ncompressors, diffusers, hose, coils and power. A price list changes the prices alone, and\nprices on record stay until others are given.",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, files []string) error {
			if len(files) == 0 && prices == "" {
				return usagef("give the equipment's file or --prices")
			}
			var list *pb.PriceList
			if prices != "" {
				data, err := os.ReadFile(prices)
				if err != nil {
					return err
				}
				read, err := intake.ParsePrices(prices, data)
				if err != nil {
					return asInputError(err)
				}
				list = &pb.PriceList{Dated: read.Dated}
				for _, row := range read.Rows {
					list.Rows = append(list.Rows, &pb.PriceRow{Item: row.Item, Each: row.Each})
				}
				(&adder{err: m.Err}).tell(read.Problems)
			}
			return n.facts(c, m, func(a *adder, _ *timestamppb.Timestamp) error {
				return put(c.Context(), a, "equipment", a.pond, (*pb.Record).GetEquipmentChoice, &pb.Record{Kind: &pb.Record_EquipmentChoice{EquipmentChoice: &pb.EquipmentChoice{}}}, func(e *pb.EquipmentChoice) error {
					before := e.GetPrices()
					if err := fromJSON(files, e); err != nil {
						return err
					}
					e.Prices = cmp.Or(list, e.GetPrices(), before)
					if err := admitted("equipment", e); err != nil {
						return err
					}
					_, err := planservice.Equipment(e)
					return err
				})
			})
		},
	}
	c.Flags().StringVar(&prices, "prices", "", "your own price list, CSV with the columns item,unit,price: "+strings.Join(intake.PriceItems(), ", "))
	return c
}

// dayOf is the day of a moment by this machine's calendar, empty where the moment is
// not known.
func dayOf(timeMs int64) string {
	if timeMs == 0 {
		return ""
	}
	return time.UnixMilli(timeMs).Local().Format(time.DateOnly)
}

// readLevels reads a file of water levels over the benchmark, in order of time.
func readLevels(name string, units unitSystem) ([]*pb.WaterLevelReading, error) {
	if name == "" {
		return nil, nil
	}
	readings, err := readTimed(name, units, "level")
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(readings, func(x, y sound.StaffReading) int { return x.At.Compare(y.At) })
	var out []*pb.WaterLevelReading
	for _, r := range readings {
		out = append(out, &pb.WaterLevelReading{Time: timestamppb.New(r.At), LevelM: float64(r.Height)})
	}
	return out, nil
}

// readPlates reads a file of plate readings.
func readPlates(name string, units unitSystem) ([]*pb.PlateReading, error) {
	if name == "" {
		return nil, nil
	}
	return readPairs(name, units, "true", ofLength, "shown", ofLength, func(deep, shown unit.Meters) *pb.PlateReading {
		return &pb.PlateReading{TrueM: float64(deep), ShownM: float64(shown)}
	})
}

func (m *Main) noteVisitCommand(n *noteFlags) *cobra.Command {
	var day, draft, speed, temp, forward, right, levels, plates string
	c := &cobra.Command{
		Use:   "visit --store DIR --pond NAME --day 2026-06-09 --draft 0.8ft --levels FILE --plates FILE",
		Short: "A day's water levels and how this device's instruments were set up",
		Long:  "Put a day of work on record. All soundings of that day that this device recorded, before\nor after, are brought to depths and levels by it. A second note of a day changes what it\ngives and keeps the rest.",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if _, err := time.Parse(time.DateOnly, day); err != nil {
				return usagef("--day: %q is not written as 2026-06-09", day)
			}
			given, s := &pb.Visit{}, &pb.InstrumentSetup{}
			for _, err := range []error{
				readQuantity(m, &s.DraftM, "--draft", draft, ofLength, asIs, 0, 5),
				readQuantity(m, &s.SoundSpeedSetMPerS, "--sound-speed", speed, ofSoundSpeed, asIs, 1350, 1650),
				readQuantity(m, &s.WaterTempC, "--water-temp", temp, ofTemperature, unit.Kelvin.Celsius, -2, 45),
				readQuantity(m, &s.AntennaForwardM, "--antenna-forward", forward, ofLength, asIs, -50, 50),
				readQuantity(m, &s.AntennaRightM, "--antenna-right", right, ofLength, asIs, -50, 50),
			} {
				if err != nil {
					return err
				}
			}
			if proto.Size(s) > 0 {
				given.Setup = s
			}
			var err error
			if given.WaterLevels, err = readLevels(levels, m.units); err != nil {
				return err
			}
			if given.Plates, err = readPlates(plates, m.units); err != nil {
				return err
			}
			given.Day, given.Note = day, n.text
			return n.facts(c, m, func(a *adder, _ *timestamppb.Timestamp) error {
				id, _, err := a.visit(c.Context(), day)
				if err != nil {
					return err
				}
				if err := put(c.Context(), a, "visit of "+day, id, (*pb.Record).GetVisit, &pb.Record{Kind: &pb.Record_Visit{Visit: &pb.Visit{}}}, func(v *pb.Visit) error {
					if len(given.GetWaterLevels()) > 0 {
						v.WaterLevels = nil // a file holds all of its day's
					}
					if len(given.GetPlates()) > 0 {
						v.Plates = nil
					}
					proto.Merge(v, given)
					return nil
				}); err != nil {
					return err
				}
				return a.attach(c.Context(), id, day)
			})
		},
	}
	f := c.Flags()
	f.StringVar(&day, "day", "", "the day, as 2026-06-09")
	f.StringVar(&draft, "draft", "", "transducer below the water line, as 0.8ft or 0.25m")
	f.StringVar(&speed, "sound-speed", "", "sound speed set in the sounder, as 1500m/s")
	f.StringVar(&temp, "water-temp", "", "temperature of the water near the surface, as 74F or 23C")
	f.StringVar(&forward, "antenna-forward", "", "antenna ahead of the transducer; kept, soundings are not moved by it")
	f.StringVar(&right, "antenna-right", "", "antenna to the right of the transducer; kept, soundings are not moved by it")
	f.StringVar(&levels, "levels", "", "water levels over the benchmark, CSV with the columns time and level_m or level_ft")
	f.StringVar(&plates, "plates", "", "plate check, CSV with the columns true_m,shown_m or true_ft,shown_ft; two depths or more replace draft and sound speed")
	require(c, "day")
	return c
}

// visit returns the id of this device's visit of a day, a new one where there is none
// yet: each boat has its own, since each has its own instruments.
func (a *adder) visit(ctx context.Context, day string) (id block.ID, known bool, err error) {
	records, err := a.store.Records(ctx, a.pond)
	if err != nil {
		return id, false, err
	}
	for _, r := range records {
		if !r.Foreign && r.Message.GetVisit().GetDay() == day {
			id, err = block.IDFromBytes(r.Message.GetRecordId())
			return id, true, err
		}
	}
	id, err = a.store.NewID()
	return id, false, err
}

// attach lets this device's passes of a day name the visit.
func (a *adder) attach(ctx context.Context, visit block.ID, day string) error {
	soundings, err := a.store.Soundings(ctx, a.pond)
	if err != nil {
		return err
	}
	ofDay := make(map[block.ID]bool)
	for _, s := range soundings {
		if _, begun := ofDay[s.Pass]; !begun {
			ofDay[s.Pass] = dayOf(s.TimeMs) == day
		}
	}
	held, err := a.passes(ctx)
	if err != nil {
		return err
	}
	things, err := a.store.Things(ctx, a.pond)
	if err != nil {
		return err
	}
	passes := 0
	for _, t := range things {
		pass := t.Message.GetPass()
		id, err := block.IDFromBytes(pass.GetPassId())
		if err != nil || !held[id] || !ofDay[id] {
			continue
		}
		passes++
		if len(pass.GetVisitId()) > 0 {
			continue
		}
		if _, err := a.store.Edit(ctx, a.pond, t, a.author, func(r *pb.Record) { r.GetPass().VisitId = visit[:] }); err != nil {
			return err
		}
	}
	fmt.Fprintf(a.out, "visit of %s: holds for %d pass(es) of this device so far\n", day, passes)
	return nil
}
