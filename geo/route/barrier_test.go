package route

import (
	"errors"
	"math"
	"testing"

	"pondwright/calc/unit"
	"pondwright/geo/plane"
)

// A square of open water with a wall across all but its north end: the shortest
// way goes round the wall's two corners (worked by hand with the clearance at 0).
func TestAround_GoesRoundABarrier(t *testing.T) {
	t.Parallel()
	s, at := outline(t, ring(-100, -100, 100, -100, 100, 100, -100, 100))
	open := mustMap(t, s)
	wall := []plane.Point{at(-5, -150), at(5, -150), at(5, 40), at(-5, 40)}
	m, err := open.Around(Barrier{Ring: wall})
	if err != nil {
		t.Fatal(err)
	}
	from, to := at(-50, 0), at(50, 0)
	r, err := m.Path(from, to)
	if err != nil {
		t.Fatal(err)
	}
	want := 2*math.Hypot(45, 40) + 10
	if got := float64(r.Length); got < want || got > want+0.3 {
		t.Errorf("%.3f m round the wall, by hand %.3f", got, want)
	}
	straight, err := open.Path(from, to)
	if err != nil || math.Abs(float64(straight.Length)-100) > 1e-6 {
		t.Errorf("%v m without the wall, %v", straight.Length, err)
	}
	// Every place of the way keeps off the wall.
	for i := 1; i < len(r.Points); i++ {
		for k := range 101 {
			p := r.Points[i-1].Lerp(r.Points[i], float64(k)/100)
			if math.Hypot(max(math.Abs(p.X)-5, 0), max(p.Y-40, 0)) < 0.05-1e-6 {
				t.Fatalf("the way runs at %v", p)
			}
		}
	}
	if !m.Allowed(at(-50, 60), at(50, 60)) || m.Allowed(from, to) {
		t.Error("the wall bars what it should not, or does not bar what it should")
	}
}

func TestAround_MarginAndInside(t *testing.T) {
	t.Parallel()
	s, at := outline(t, ring(-100, -100, 100, -100, 100, 100, -100, 100))
	open := mustMap(t, s)
	m, err := open.Around(
		Barrier{Ring: []plane.Point{at(-1, -1), at(-1, 1), at(1, 1), at(1, -1)}, Margin: 9},
		Barrier{Ring: []plane.Point{at(-200, -20), at(200, -20), at(200, 20), at(-200, 20)}, Inside: true},
	)
	if err != nil {
		t.Fatal(err)
	}
	r, err := m.Path(at(-60, 0), at(60, 0))
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i < len(r.Points); i++ {
		for k := range 101 {
			p := r.Points[i-1].Lerp(r.Points[i], float64(k)/100)
			dx, dy := max(math.Abs(p.X)-1, 0), max(math.Abs(p.Y)-1, 0)
			if math.Hypot(dx, dy) < 9 || math.Abs(p.Y) > 20 {
				t.Fatalf("the way runs at %v", p)
			}
		}
	}
	for name, end := range map[string]plane.Point{"in the barrier": at(0, 0), "in its margin": at(0, 8), "outside the limits": at(0, 50)} {
		if _, err := m.Path(at(-60, 0), end); !errors.Is(err, ErrBarred) {
			t.Errorf("to a place %s: %v", name, err)
		}
	}
	// A wall from shore to shore leaves no way.
	cut, err := open.Around(Barrier{Ring: []plane.Point{at(-5, -150), at(5, -150), at(5, 150), at(-5, 150)}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := cut.Path(at(-60, 0), at(60, 0)); !errors.Is(err, ErrUnreachable) {
		t.Errorf("across the wall: %v", err)
	}
}

// The trench goes to the nearest shore that it reaches without crossing a barrier.
func TestEntry_KeepsOffBarriers(t *testing.T) {
	t.Parallel()
	s, at := outline(t, ring(-100, -100, 100, -100, 100, 100, -100, 100))
	open := mustMap(t, s)
	mast := at(0, -120)
	m, err := open.Around(Barrier{Ring: []plane.Point{at(-10, -110), at(10, -110), at(10, -90), at(-10, -90)}})
	if err != nil {
		t.Fatal(err)
	}
	entry, err := m.Entry(mast, DefaultTrenchLimit)
	if err != nil {
		t.Fatal(err)
	}
	// Past the barrier's near corner, 10 m along and 10 m up, a line from the mast
	// meets the shore 20 m along (worked by hand); the search goes by meters.
	if x := math.Abs(entry.X - at(0, 0).X); x < 20-1e-6 || x > 21.5 {
		t.Errorf("the trench meets the shore %.2f m along, by hand 20", x)
	}
	shut, err := open.Around(Barrier{Ring: []plane.Point{at(-300, -115), at(300, -115), at(300, -90), at(-300, -90)}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := shut.Entry(mast, DefaultTrenchLimit); !errors.Is(err, ErrBarred) {
		t.Errorf("behind a wall: %v", err)
	}
}

func TestAround_Refuses(t *testing.T) {
	t.Parallel()
	s, at := outline(t, ring(-100, -100, 100, -100, 100, 100, -100, 100))
	m := mustMap(t, s)
	box := []plane.Point{at(0, 0), at(1, 0), at(1, 1)}
	for _, b := range []Barrier{{Ring: box[:2]}, {Ring: box, Margin: -1}, {Ring: box, Margin: unit.Meters(math.NaN())}} {
		if _, err := m.Around(b); !errors.As(err, new(*unit.RangeError)) {
			t.Errorf("%+v: %v", b, err)
		}
	}
	if same, err := m.Around(); err != nil || same != m {
		t.Errorf("round nothing: %v, %v", same, err)
	}
}
