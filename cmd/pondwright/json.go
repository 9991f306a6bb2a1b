package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// writeJSON prints a message as indented JSON with default values written out.
func writeJSON(w io.Writer, m proto.Message) error {
	raw, err := protojson.MarshalOptions{EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return fmt.Errorf("print JSON: %w", err)
	}
	// protojson varies its spaces on purpose; indenting anew makes them stable.
	var b bytes.Buffer
	if err := json.Indent(&b, raw, "", "  "); err != nil {
		return fmt.Errorf("print JSON: %w", err)
	}
	b.WriteByte('\n')
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("print JSON: %w", err)
	}
	return nil
}
