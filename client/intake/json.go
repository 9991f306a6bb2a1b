package intake

import (
	"bytes"
	"encoding/json"
	"errors"
	"slices"
)

// node is a JSON value that knows its line.
type node struct {
	line  int
	kind  byte // '{', '[', 's'tring, 'n'umber, 'b'oolean, '0' for null
	text  string
	keys  []string // of an object's items
	items []node
}

// parseJSON returns the tree of a JSON document.
func parseJSON(file string, data []byte) (node, error) {
	// The tokenizer says little about what is wrong, so the whole is checked first.
	var whole json.RawMessage
	if err := json.Unmarshal(data, &whole); err != nil {
		ps := problems{file: file}
		at := len(data)
		if syntax, ok := errors.AsType[*json.SyntaxError](err); ok {
			at = min(at, max(0, int(syntax.Offset)-1))
		}
		remedy := "export the outline again, or mend the text at this line"
		if at >= len(bytes.TrimRight(data, " \r\n\t"))-1 {
			remedy = "the file seems to be cut short: copy it again from where it was made"
		}
		return node{}, ps.fatal(CodeGeoJSONSyntax, 1+bytes.Count(data[:at], []byte{'\n'}), "", remedy, "is not JSON: %v", err)
	}
	w := walker{data: data, dec: json.NewDecoder(bytes.NewReader(data)), line: 1}
	w.dec.UseNumber()
	n, _ := w.value()
	return n, nil
}

// walker builds nodes from tokens. Its input is valid JSON.
type walker struct {
	data []byte
	dec  *json.Decoder
	at   int // bytes whose line feeds are in line
	line int
}

// value returns the next value, or false at the end of an object or array.
func (w *walker) value() (node, bool) {
	tok, err := w.dec.Token()
	if err != nil {
		return node{}, false
	}
	end := int(w.dec.InputOffset())
	w.line += bytes.Count(w.data[w.at:end], []byte{'\n'})
	w.at = end
	n := node{line: w.line}
	switch v := tok.(type) {
	case json.Delim:
		n.kind = byte(v)
		switch v {
		case '}', ']':
			return n, false
		}
		for {
			item, ok := w.value()
			if !ok {
				return n, true
			}
			if n.kind == '{' {
				n.keys = append(n.keys, item.text)
				item, _ = w.value()
			}
			n.items = append(n.items, item)
		}
	case string:
		n.kind, n.text = 's', v
	case json.Number:
		n.kind, n.text = 'n', v.String()
	case bool:
		n.kind = 'b'
	case nil:
		n.kind = '0'
	}
	return n, true
}

// member returns an object's member; of two of one name the last, as is usual.
func (n node) member(key string) (node, bool) {
	for i, v := range slices.Backward(n.keys) {
		if v == key {
			return n.items[i], true
		}
	}
	return node{}, false
}

// word returns the string member of an object, empty where there is none.
func (n node) word(key string) string {
	if m, ok := n.member(key); ok && m.kind == 's' {
		return m.text
	}
	return ""
}

// what describes the kind of value for a message.
func (n node) what() string {
	switch n.kind {
	case '{':
		return "an object"
	case '[':
		return "an array"
	case 's':
		return "a string"
	case 'n':
		return "a number"
	case 'b':
		return "true or false"
	case '0':
		return "null"
	}
	return "missing"
}
