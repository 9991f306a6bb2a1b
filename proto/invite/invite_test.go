package invite

import (
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// golden pins the form: the code of the digits 0 to 9, and a pin of the bytes 0 to
// 15. Source: recomputed with a few lines of Python from the description of the
// form in the package comment.
const golden = "PW1-01234-56789-000G4-0R40M-30E20-9185G-R38E1-WPKPT"

func goldenText() Text {
	var random uint64
	t := Text{}
	for i := range uint64(codeChars) {
		random |= i << (5 * i)
	}
	for i := range t.Pin {
		t.Pin[i] = byte(i)
	}
	t.Code = NewCode(random)
	return t
}

func TestString_Golden(t *testing.T) {
	t.Parallel()
	if got := goldenText().String(); got != golden {
		t.Errorf("String() = %s, want %s", got, golden)
	}
}

func TestParse(t *testing.T) {
	t.Parallel()
	typed := strings.NewReplacer("1", "l", "0", "o", "-", "").Replace(strings.ToLower(golden))
	tests := []struct{ name, text, why string }{
		{"as printed", golden, ""},
		{"in lower case without hyphens, with look-alikes", typed, ""},
		{"over two lines, with long hyphens", strings.ReplaceAll(golden, "-", " \u2013\n"), ""},
		{"empty", "", "begin with PW1"},
		{"of a later version", "PW2" + golden[3:], "begin with PW1"},
		{"cut short", golden[:len(golden)-1], "42 characters"},
		{"with one more", golden + "0", "44 characters"},
		{"with U", strings.Replace(golden, "56789", "5678U", 1), "no invitation has"},
		{"with a letter from elsewhere", strings.Replace(golden, "56789", "567\u00c4", 1), "no invitation has"},
		{"without end", strings.Repeat("-", 1000), "1000 bytes"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := Parse(tt.text)
			switch {
			case tt.why == "" && (err != nil || got != goldenText()):
				t.Errorf("Parse = %v, %v, want the golden text", got, err)
			case tt.why != "" && (!errors.Is(err, ErrInvalid) || !strings.Contains(err.Error(), tt.why)):
				t.Errorf("Parse = %v, want ErrInvalid with %q", err, tt.why)
			}
		})
	}
}

// TestParse_AnyOneWrongCharacterIsSeen tries every character at every place. The
// check is 20 bits long: of 36 places times 31 characters none may pass.
func TestParse_AnyOneWrongCharacterIsSeen(t *testing.T) {
	t.Parallel()
	plain := strings.ReplaceAll(golden, "-", "")
	for i := len(prefix); i < len(plain); i++ {
		for _, c := range alphabet {
			if byte(c) == plain[i] {
				continue
			}
			if _, err := Parse(plain[:i] + string(c) + plain[i+1:]); !errors.Is(err, ErrInvalid) {
				t.Errorf("%c at place %d: %v, want ErrInvalid", c, i, err)
			}
		}
	}
}

func TestParse_ReadsWhatStringWrites(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		want := Text{Code: NewCode(rapid.Uint64().Draw(t, "random"))}
		copy(want.Pin[:], rapid.SliceOfN(rapid.Byte(), pinBytes, pinBytes).Draw(t, "pin"))
		if got, err := Parse(want.String()); err != nil || got != want {
			t.Errorf("Parse(%s) = %v, %v", want, got, err)
		}
	})
}

func TestPinOf(t *testing.T) {
	t.Parallel()
	// SHA-256 of "abc". Source: NIST, FIPS 180-4 examples, "SHA-256, one block".
	const want = "ba7816bf8f01cfea414140de5dae2223"
	pin := PinOf(&x509.Certificate{RawSubjectPublicKeyInfo: []byte("abc")})
	if got := hex.EncodeToString(pin[:]); got != want {
		t.Errorf("PinOf = %s, want %s", got, want)
	}
	if same, other := pin, Pin(sha256.New().Sum(nil)[:pinBytes]); pin.Equal(other) || !pin.Equal(same) {
		t.Error("Equal is wrong")
	}
}

func FuzzParse(f *testing.F) {
	f.Add(golden)                               // as printed
	f.Add(strings.ToLower(golden))              // as typed
	f.Add("PWl" + golden[3:])                   // a letter for a digit
	f.Add("PW1")                                // nothing behind the prefix
	f.Add(strings.ReplaceAll(golden, "-", " ")) // other separators
	f.Fuzz(func(t *testing.T, text string) {
		got, err := Parse(text)
		if err != nil {
			if !errors.Is(err, ErrInvalid) || got != (Text{}) {
				t.Errorf("Parse(%q) = %v, %v", text, got, err)
			}
			return
		}
		if again, err := Parse(got.String()); err != nil || again != got {
			t.Errorf("Parse(%q) gives %v, which reads back as %v, %v", text, got, again, err)
		}
	})
}
