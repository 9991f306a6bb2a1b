package main

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestDevices is the life of a device: invited, joined, syncing, granted less, shut
// out, while an admin elsewhere looks on. The server runs throughout.
func TestDevices(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	boat, chief, office := filepath.Join(dir, "boat"), filepath.Join(dir, "chief"), filepath.Join(dir, "office")
	addr, _ := startServer(t, office, "--tls")
	mustRun(t, "add", "--store", boat, "--pond", "Mill Bottom", write(t, "pond.geojson", square))

	if status, _, errs := run(t, "sync", "--store", boat, "--server", addr); status != exitFailed || !strings.Contains(errs, "join it first with a code") || !strings.Contains(errs, "nothing is lost") {
		t.Errorf("sync before joining: status %d, %q", status, errs)
	}
	code, hint := mustRun(t, "invite", "--data", office, "--role", "crew", "--pond", "Mill bottom")
	if !regexp.MustCompile(`^PW1(-[0-9A-Z]{5}){8}\n$`).MatchString(code) || !strings.Contains(hint, "good once") || !strings.Contains(hint, "crew on 1 pond") {
		t.Errorf("invite: %q, %q", code, hint)
	}
	if out, _ := mustRun(t, "join", "--store", boat, "--server", addr, "--code", strings.ToLower(code), "--name", "boat 1"); !strings.Contains(out, "renews itself") {
		t.Errorf("join: %q", out)
	}
	if status, _, errs := run(t, "join", "--store", chief, "--server", addr, "--code", code); status != exitFailed || !strings.Contains(errs, "unknown, used or past its time") {
		t.Errorf("the code again: status %d, %q", status, errs)
	}
	mustRun(t, "sync", "--store", boat, "--server", addr)

	code, _ = mustRun(t, "invite", "--data", office, "--role", "admin")
	mustRun(t, "join", "--store", chief, "--server", addr, "--code", code)
	afar := []string{"--server", addr, "--store", chief}
	list, _ := mustRun(t, append([]string{"devices"}, afar...)...)
	id := regexp.MustCompile(`(?m)^([0-9a-f]{8})  boat 1  crew on 1 pond`).FindStringSubmatch(list)
	if id == nil {
		t.Fatalf("devices:\n%s", list)
	}
	mustRun(t, append([]string{"devices", "grant", id[1], "--role", "designer"}, afar...)...)
	mustRun(t, append([]string{"invite", "--role", "reader"}, afar...)...)
	if status, _, errs := run(t, "devices", "--server", addr, "--store", boat); status != exitFailed || !strings.Contains(errs, "role does not include") {
		t.Errorf("a designer lists devices: status %d, %q", status, errs)
	}
	mustRun(t, "devices", "revoke", id[1], "--data", office)
	if list, _ := mustRun(t, "devices", "--data", office); !strings.Contains(list, "designer on all ponds") || !strings.Contains(list, "shut out") {
		t.Errorf("devices:\n%s", list)
	}
	if status, _, errs := run(t, "sync", "--store", boat, "--server", addr); status != exitFailed || !strings.Contains(errs, "shut out") || !strings.Contains(errs, "nothing is lost") {
		t.Errorf("sync once shut out: status %d, %q", status, errs)
	}
	if out, _ := mustRun(t, "status", "--store", boat); !strings.Contains(out, "Mill Bottom") || !strings.Contains(out, "as device "+id[1]) {
		t.Errorf("status once shut out:\n%s", out)
	}
}

func TestDevices_Refusals(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	tests := []struct {
		name   string
		args   []string
		status int
		want   string
	}{
		{"nowhere", []string{"invite", "--role", "crew"}, exitUsage, "either --data or --server"},
		{"two places", []string{"invite", "--role", "crew", "--data", data, "--server", "127.0.0.1:1"}, exitUsage, "either --data or --server"},
		{"no such role", []string{"invite", "--role", "captain", "--data", data}, exitUsage, "captain"},
		{"pond without a name", []string{"invite", "--role", "crew", "--pond", " ", "--data", data}, exitUsage, "needs a name"},
		{"mistyped folder", []string{"invite", "--role", "crew", "--data", filepath.Join(data, "x")}, exitFailed, "no server in"},
		{"tenant that cannot be", []string{"invite", "--role", "crew", "--data", data, "--tenant", "A B"}, exitFailed, "tenant"},
		{"no server", []string{"devices", "--server", "127.0.0.1:1"}, exitFailed, "127.0.0.1:1"},
		{"too few digits", []string{"devices", "revoke", "ab", "--data", data}, exitUsage, "at least 4"},
		{"no such device", []string{"devices", "revoke", "abcd", "--data", data}, exitFailed, "no device begins with abcd"},
		{"no such text", []string{"join", "--store", data + "/boat", "--server", "127.0.0.1:1", "--code", "x"}, exitFailed, "not an invitation"},
		{"another machine without joining", []string{"sync", "--store", data, "--server", "192.0.2.1:7443"}, exitFailed, "ask its operator for an invitation"},
	}
	for _, tt := range tests {
		if status, _, errs := run(t, tt.args...); status != tt.status || !strings.Contains(errs, tt.want) {
			t.Errorf("%s: status %d, %q, want %d and %q", tt.name, status, errs, tt.status, tt.want)
		}
	}
	if out, _ := mustRun(t, "devices", "--data", data); !strings.Contains(out, "no device has joined yet") {
		t.Errorf("devices: %q", out)
	}
}
