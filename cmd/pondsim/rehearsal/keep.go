package rehearsal

import (
	"context"
	"encoding/json"
	"os"
	"slices"
)

// Save writes a script to a file.
func Save(path string, s Script) error {
	text, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return err
	}
	return os.WriteFile(path, append(text, '\n'), 0o600)
}

// Load reads a script from a file.
func Load(path string) (Script, error) {
	var s Script
	text, err := os.ReadFile(path)
	if err != nil {
		return s, err
	}
	return s, json.Unmarshal(text, &s)
}

// Shrink looks for a shorter script that breaks the same promise: what comes after
// is cut off, then ever smaller runs of steps are left out as long as it still
// breaks. It gives up trying when the context ends.
func Shrink(ctx context.Context, s Script, v *Violation) (Script, *Violation) {
	s.Steps = slices.Clone(s.Steps[:min(v.Step+1, len(s.Steps))])
	for size := max(1, len(s.Steps)/2); size > 0; size /= 2 {
		for at := 0; at < len(s.Steps); {
			shorter := s
			shorter.Steps = slices.Delete(slices.Clone(s.Steps), at, min(at+size, len(s.Steps)))
			found, _, err := Play(ctx, shorter)
			if ctx.Err() != nil {
				return s, v
			}
			if err == nil && found != nil && found.Promise == v.Promise {
				s, v = shorter, found
			} else {
				at += size
			}
		}
	}
	s.Found = v.Error()
	return s, v
}
