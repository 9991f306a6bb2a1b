package care

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pondwright/calc/unit"
	pb "pondwright/proto/pondwright/v1"
)

// station is what has gauges of its own: compressors and their manifold.
type station struct {
	name     string            // its number on the plan, from 1, or else as people call it; empty: the only one
	labels   []string          // its diffusers; none: all of them
	expected *pb.GaugeReadings // nil: not known
}

// stations are those of a plan. Where it has fewer than two, they are those that
// readings name, or else the only one.
func stations(m *pb.Plan, readings []*pb.Reading) []station {
	if len(m.GetStations()) < 2 {
		return namedStations(m, readings)
	}
	out := make([]station, len(m.GetStations()))
	for k := range out {
		out[k].name = strconv.Itoa(k + 1)
		if list := m.GetCommissioning().GetStations(); k < len(list) {
			out[k].expected = list[k]
		}
	}
	for _, d := range m.GetDiffusers() {
		if k := int(d.GetStation()); k < len(out) {
			out[k].labels = append(out[k].labels, d.GetLabel())
		}
	}
	return out
}

// namedStations are those that readings name; the only one where they name fewer
// than two.
func namedStations(m *pb.Plan, readings []*pb.Reading) []station {
	var names []string
	for _, r := range readings {
		if name := stationName(r.GetStation()); name != "" && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) < 2 {
		return []station{{expected: m.GetCommissioning().GetSoundingDay()}}
	}
	slices.Sort(names)
	var out []station
	for _, name := range names {
		out = append(out, station{name: name})
	}
	return out
}

// stationName is the station that people mean: "Station 2" is "2".
func stationName(said string) string {
	return strings.TrimSpace(strings.TrimPrefix(strings.ToLower(strings.TrimSpace(said)), "station"))
}

// named reports whether one of the labels is the station or a diffuser of it.
func (s station) named(labels []string) bool {
	return slices.ContainsFunc(labels, func(l string) bool {
		return stationName(l) == s.name || slices.Contains(s.labels, l)
	})
}

// concerned reports whether work on what the labels name was done to the station.
// Labels that name no station of the list, or nothing, stand for all.
func (s station) concerned(list []station, labels []string) bool {
	return s.named(labels) || !slices.ContainsFunc(list, func(o station) bool { return o.named(labels) })
}

// deepest is the water over the deepest diffuser of a station.
func (p *pond) deepest(m *pb.Plan, s station) unit.Meters {
	var out unit.Meters
	for _, j := range p.jets(m, 0) {
		if len(s.labels) == 0 || slices.Contains(s.labels, j.Label) {
			out = max(out, j.Submergence)
		}
	}
	return out
}

// setAside tells of the readings that belong to none of several stations; nil if
// there are none.
func setAside(list []station, readings []*pb.Reading) *pb.Finding {
	if len(list) < 2 {
		return nil
	}
	var names []string
	for _, s := range list {
		names = append(names, s.name)
	}
	var n int
	for _, r := range readings {
		if !slices.Contains(names, stationName(r.GetStation())) {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	return &pb.Finding{
		Code: "STATION_NOT_NAMED",
		Text: fmt.Sprintf("%d of %d readings name none of the %d stations and are set aside: their gauges must not be mixed.", n, len(readings), len(list)),
		Todo: "Record the station with each reading: " + strings.Join(names, ", ") + ".",
	}
}
