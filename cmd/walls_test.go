// Package cmd_test holds the walls of the house up: which room may import
// which. The rules are checked over the graph that the go command reports, so
// that nothing escapes by being generated or indirect.
package cmd_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

const (
	house           = "pondwright"
	badger          = "github.com/dgraph-io/badger/v4"
	protobuf        = "google.golang.org/protobuf"
	protobufVersion = "v1.36.12" // the code generator and the runtime stay at one version
)

// floors names the folders that hold Go code and, for each, what it may import
// of ours.
var floors = map[string][]string{
	"calc":   {"calc"},
	"geo":    {"calc", "geo"},
	"proto":  {"proto"},
	"client": {"calc", "geo", "proto", "client"},
	"server": {"calc", "geo", "proto", "server"},
	"cmd":    {"calc", "geo", "proto", "client", "server", "cmd"},
}

// badgerRooms may import the store's engine.
var badgerRooms = []string{"client/store", "server/journal", "server/state"}

// impure are standard packages that a pure room must not import: they read or
// change the world outside the arguments.
var impure = []string{"context", "crypto/rand", "log", "math/rand", "net", "os", "syscall"}

// clientModules is all that a program which links the client library carries.
var clientModules = []string{
	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go", // the descriptor only
	"github.com/cespare/xxhash/v2",
	"github.com/dgraph-io/badger/v4",
	"github.com/dgraph-io/ristretto/v2",
	"github.com/dustin/go-humanize",
	"github.com/go-logr/logr",
	"github.com/go-logr/stdr",
	"github.com/golang/geo",
	"github.com/google/flatbuffers",
	"github.com/klauspost/compress",
	"go.opentelemetry.io/auto/sdk",
	"go.opentelemetry.io/otel",
	"go.opentelemetry.io/otel/metric",
	"go.opentelemetry.io/otel/trace",
	"golang.org/x/net",
	"golang.org/x/sync",
	"golang.org/x/sys",
	"golang.org/x/text",
	"google.golang.org/genproto/googleapis/rpc",
	"google.golang.org/grpc",
	"google.golang.org/protobuf",
}

// module is what the go command says of a module.
type module struct {
	Path    string  `json:"Path"`
	Version string  `json:"Version"`
	Replace *module `json:"Replace"`
}

// listed is what the go command says of a package.
type listed struct {
	ImportPath   string   `json:"ImportPath"`
	Standard     bool     `json:"Standard"`
	Module       *module  `json:"Module"`
	Imports      []string `json:"Imports"`
	TestImports  []string `json:"TestImports"`
	XTestImports []string `json:"XTestImports"`
	Deps         []string `json:"Deps"`
}

// room returns the folder of a package inside the house, and false for a
// package of others.
func (p *listed) room() (string, bool) { return roomOf(p.ImportPath) }

func roomOf(importPath string) (string, bool) {
	if importPath == house {
		return "", true
	}
	return strings.CutPrefix(importPath, house+"/")
}

func floorOf(room string) string {
	floor, _, _ := strings.Cut(room, "/")
	return floor
}

// within reports whether path is root or lies below it.
func within(path, root string) bool {
	return path == root || strings.HasPrefix(path, root+"/")
}

func withinAny(path string, roots []string) bool {
	return slices.ContainsFunc(roots, func(root string) bool { return within(path, root) })
}

// breaches names every import that goes through a wall.
func breaches(graph []listed) []string {
	byPath := make(map[string]*listed, len(graph))
	for i := range graph {
		byPath[graph[i].ImportPath] = &graph[i]
	}
	var found []string
	for i := range graph {
		p := &graph[i]
		room, ours := p.room()
		if !ours {
			found = append(found, checkVersion(p)...)
			continue
		}
		found = append(found, checkFloor(p, room)...)
		found = append(found, checkStore(p, room)...)
		found = append(found, checkPure(p, room, byPath)...)
		found = append(found, checkClient(p, room, byPath)...)
	}
	return append(found, checkCircles(graph)...)
}

func checkFloor(p *listed, room string) []string {
	var found []string
	allowed, known := floors[floorOf(room)]
	for _, imp := range slices.Concat(p.Imports, p.TestImports, p.XTestImports) {
		to, ours := roomOf(imp)
		if ours && known && !slices.Contains(allowed, floorOf(to)) {
			found = append(found, fmt.Sprintf("%s imports %s: %s may only import %v", room, to, floorOf(room), allowed))
		}
	}
	return found
}

func checkStore(p *listed, room string) []string {
	for _, imp := range p.Imports {
		if within(imp, badger) && !withinAny(room, badgerRooms) {
			return []string{fmt.Sprintf("%s imports the store engine: only %v may", room, badgerRooms)}
		}
	}
	return nil
}

func checkPure(p *listed, room string, byPath map[string]*listed) []string {
	if floor := floorOf(room); floor != "calc" && floor != "geo" {
		return nil
	}
	var found []string
	for _, imp := range p.Imports {
		if withinAny(imp, impure) {
			found = append(found, fmt.Sprintf("%s imports %s: calc and geo are pure", room, imp))
		}
	}
	for _, dep := range p.Deps {
		d := byPath[dep]
		wire := d != nil && d.Module != nil && within(d.Module.Path, "google.golang.org")
		if dep == "net" || wire {
			found = append(found, fmt.Sprintf("%s reaches %s: calc and geo know no network", room, dep))
		}
	}
	return found
}

func checkClient(p *listed, room string, byPath map[string]*listed) []string {
	if floorOf(room) != "client" {
		return nil
	}
	strangers := map[string]bool{}
	for _, dep := range p.Deps {
		d := byPath[dep]
		if d == nil || d.Standard || d.Module == nil || d.Module.Path == house {
			continue
		}
		if !slices.Contains(clientModules, d.Module.Path) {
			strangers[d.Module.Path] = true
		}
	}
	var found []string
	for _, m := range slices.Sorted(maps.Keys(strangers)) {
		found = append(found, fmt.Sprintf("%s reaches module %s, which is not on the client's list", room, m))
	}
	return found
}

func checkVersion(p *listed) []string {
	if p.ImportPath != protobuf+"/proto" || p.Module == nil {
		return nil
	}
	if p.Module.Version != protobufVersion || p.Module.Replace != nil {
		return []string{fmt.Sprintf("%s is at %s, want %s and no replacement", protobuf, p.Module.Version, protobufVersion)}
	}
	return nil
}

// checkCircles finds folders that need each other. The compiler refuses a
// circle of packages, but not a/x → b → a/y. A folder here is the first two
// elements of a path.
func checkCircles(graph []listed) []string {
	next := map[string][]string{}
	for i := range graph {
		room, ours := graph[i].room()
		if !ours {
			continue
		}
		from := folderOf(room)
		for _, imp := range graph[i].Imports {
			to, ours := roomOf(imp)
			if ours && folderOf(to) != from && !slices.Contains(next[from], folderOf(to)) {
				next[from] = append(next[from], folderOf(to))
			}
		}
	}
	var found []string
	done := map[string]bool{}
	var walk func(folder string, way []string)
	walk = func(folder string, way []string) {
		if at := slices.Index(way, folder); at >= 0 {
			found = append(found, "folders in a circle: "+strings.Join(append(way[at:], folder), " → "))
			return
		}
		if done[folder] {
			return
		}
		for _, to := range next[folder] {
			walk(to, append(slices.Clone(way), folder))
		}
		done[folder] = true
	}
	for _, folder := range slices.Sorted(maps.Keys(next)) {
		walk(folder, nil)
	}
	return found
}

func folderOf(room string) string {
	parts := strings.SplitN(room, "/", 3)
	return path.Join(parts[:min(2, len(parts))]...)
}

// strayGoFiles lists Go files outside the folders that may hold them. Folders
// that start with a dot are tools and have modules of their own.
func strayGoFiles(tree fs.FS) ([]string, error) {
	var stray []string
	err := fs.WalkDir(tree, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() {
			if name != "." && strings.HasPrefix(entry.Name(), ".") {
				return fs.SkipDir
			}
			return nil
		}
		if path.Ext(name) == ".go" && (!strings.Contains(name, "/") || floors[floorOf(name)] == nil) {
			stray = append(stray, name)
		}
		return nil
	})
	return stray, err
}

// load asks the go command for the packages of the house and all they need.
func load(t *testing.T) []listed {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", "list", "-e", "-deps",
		"-json=ImportPath,Standard,Module,Imports,TestImports,XTestImports,Deps", "./...")
	cmd.Dir = ".."
	var complaint bytes.Buffer
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, complaint.String())
	}
	var graph []listed
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		err := dec.Decode(&p)
		if errors.Is(err, io.EOF) {
			return graph
		}
		if err != nil {
			t.Fatalf("go list output: %v", err)
		}
		graph = append(graph, p)
	}
}

func TestWalls(t *testing.T) {
	t.Parallel()
	graph := load(t)
	ours := 0
	for i := range graph {
		if _, ok := graph[i].room(); ok {
			ours++
		}
	}
	if ours == 0 {
		t.Fatal("go list reports no package of ours")
	}
	for _, b := range breaches(graph) {
		t.Error(b)
	}
}

// TestWalls_NoStrayGoFiles also makes the go command see every change of the
// tree, so that it never answers for these walls from its cache.
func TestWalls_NoStrayGoFiles(t *testing.T) {
	t.Parallel()
	stray, err := strayGoFiles(os.DirFS(".."))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range stray {
		t.Errorf("%s lies outside the folders for Go code", name)
	}
}

func TestWalls_StrayGoFilesAreSeen(t *testing.T) {
	t.Parallel()
	got, err := strayGoFiles(fstest.MapFS{
		"main.go": {}, "util/a.go": {}, "docs/x/b.go": {}, // strays
		"calc/a.go": {}, "geo/x/b.go": {}, ".ci/tools/c.go": {}, "go.mod": {}, "docs/note.md": {},
	})
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"docs/x/b.go", "main.go", "util/a.go"}; !slices.Equal(got, want) {
		t.Errorf("strayGoFiles = %v, want %v", got, want)
	}
}

// TestWalls_EachBreachIsSeen breaks one wall at a time in a small made-up house.
func TestWalls_EachBreachIsSeen(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(house map[string]*listed)
		want   string // part of a breach reported; empty: none at all
	}{
		{"sound house", func(map[string]*listed) {}, ""},
		{"calc imports geo", imports("calc/air", "pondwright/geo/bed"), "calc/air imports geo/bed"},
		{"calc imports proto", imports("calc/air", "pondwright/proto/block"), "calc/air imports proto/block"},
		{"calc test imports geo", testImports("calc/air", "pondwright/geo/bed"), "calc/air imports geo/bed"},
		{"geo imports proto", imports("geo/bed", "pondwright/proto/block"), "geo/bed imports proto/block"},
		{"proto imports calc", imports("proto/block", "pondwright/calc/air"), "proto/block imports calc/air"},
		{"server imports client", imports("server", "pondwright/client/store"), "server imports client/store"},
		{"client imports server", imports("client", "pondwright/server/journal"), "client imports server/journal"},
		{"client imports cmd", imports("client", "pondwright/cmd/pondwright"), "client imports cmd/pondwright"},
		{"server imports the store engine", imports("server", badger), "server imports the store engine"},
		{"server imports a part of the store engine", imports("server", badger+"/y"), "server imports the store engine"},
		{"geo opens files", imports("geo/bed", "os"), "geo/bed imports os"},
		{"calc draws random numbers", imports("calc/air", "math/rand/v2"), "calc/air imports math/rand/v2"},
		{"calc takes a context", imports("calc/air", "context"), "calc/air imports context"},
		{"geo reaches the network", reaches("geo/bed", "net"), "geo/bed reaches net"},
		{"geo reaches messages", reaches("geo/bed", "google.golang.org/protobuf/proto"), "geo/bed reaches google.golang.org/protobuf/proto"},
		{"client links a stranger", reaches("client", "example.org/stranger/x"), "client reaches module example.org/stranger"},
		{"folders in a circle", func(h map[string]*listed) {
			imports("geo/grid", "pondwright/geo/bed/fine")(h)
			imports("geo/bed", "pondwright/geo/grid")(h)
		}, "folders in a circle: geo/bed → geo/grid → geo/bed"},
		{"messages at another version", func(h map[string]*listed) {
			h["google.golang.org/protobuf/proto"].Module.Version = "v1.36.13"
		}, "is at v1.36.13"},
		{"messages replaced", func(h map[string]*listed) {
			h["google.golang.org/protobuf/proto"].Module.Replace = &module{Path: "example.org/fork"}
		}, "no replacement"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			built := madeUpHouse()
			tt.change(built)
			var graph []listed
			for _, name := range slices.Sorted(maps.Keys(built)) {
				graph = append(graph, *built[name])
			}
			got := breaches(graph)
			if tt.want == "" {
				if len(got) != 0 {
					t.Fatalf("breaches = %q, want none", got)
				}
				return
			}
			if !slices.ContainsFunc(got, func(b string) bool { return strings.Contains(b, tt.want) }) {
				t.Errorf("breaches = %q, want one that says %q", got, tt.want)
			}
		})
	}
}

// madeUpHouse is a small graph with every wall standing, by the path after the
// house's name or, for packages of others, by import path.
func madeUpHouse() map[string]*listed {
	h := map[string]*listed{
		"calc/air":         {Imports: []string{"math"}},
		"geo/grid":         {Imports: []string{"fmt"}},
		"geo/bed":          {Imports: []string{"pondwright/calc/air"}},
		"geo/bed/fine":     {},
		"proto/block":      {Imports: []string{protobuf + "/proto"}},
		"client":           {Imports: []string{"pondwright/client/store", "pondwright/geo/bed"}, Deps: []string{badger, protobuf + "/proto"}},
		"client/store":     {Imports: []string{badger}},
		"server":           {Imports: []string{"pondwright/server/journal", "net"}},
		"server/journal":   {Imports: []string{badger + "/options"}},
		"server/journal/c": {Imports: []string{badger}},
		"cmd/pondwright":   {Imports: []string{"pondwright/server", "pondwright/client", "os"}},
	}
	for name, p := range h {
		p.ImportPath, p.Module = house+"/"+name, &module{Path: house}
	}
	for pkg, mod := range map[string]module{
		badger:                   {Path: badger, Version: "v4.9.6"},
		protobuf + "/proto":      {Path: protobuf, Version: protobufVersion},
		"example.org/stranger/x": {Path: "example.org/stranger", Version: "v1.0.0"},
	} {
		h[pkg] = &listed{ImportPath: pkg, Module: &mod}
	}
	h["net"] = &listed{ImportPath: "net", Standard: true}
	return h
}

func imports(room, what string) func(map[string]*listed) {
	return func(h map[string]*listed) { h[room].Imports = append(h[room].Imports, what) }
}

func testImports(room, what string) func(map[string]*listed) {
	return func(h map[string]*listed) { h[room].XTestImports = append(h[room].XTestImports, what) }
}

func reaches(room, what string) func(map[string]*listed) {
	return func(h map[string]*listed) { h[room].Deps = append(h[room].Deps, what) }
}
