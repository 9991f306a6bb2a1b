// Package invite is the text that lets a device in: a code that is good once, and
// a pin of the key by which the device tells the right server before it says the
// code. A server prints it, a person carries it, a device reads it.
//
//	text := invite.Text{Code: code, Pin: invite.PinOf(authority)}.String()
//	t, err := invite.Parse(text)
//
// The form, version 1, is "PW1" and 40 characters of Crockford's base 32 in groups
// of five, joined by hyphens:
//
//	PW1-CCCCC-CCCCC-PPPPP-PPPPP-PPPPP-PPPPP-PPPPP-PKKKK
//
// C is the code, 10 characters or 50 bits. P is the pin, 26 characters: the first
// 128 bits of the SHA-256 of the authority's public key (its DER
// SubjectPublicKeyInfo), then two zero bits. K is the check, 4 characters: the
// first 20 bits of the SHA-256 of "pondwright invite 1", a zero byte and the 36
// characters before it. Case does not matter when reading, nor do white space and
// hyphens wherever they stand; I and L are read as 1 and O as 0.
//
// It is not a secret store: whoever sees an unused text may use it for as long as
// its code lives.
package invite

import (
	"crypto/sha256"
	"crypto/subtle"
	"crypto/x509"
	"encoding/base32"
	"errors"
	"fmt"
	"strings"
	"unicode"
)

// The alphabet leaves out I, L, O and U.
const alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

var crockford = base32.NewEncoding(alphabet).WithPadding(base32.NoPadding)

const (
	prefix    = "PW1"
	codeChars = 10
	pinChars  = 26
	pinBytes  = 16
	sumChars  = 4
	group     = 5
)

// ErrInvalid says that a text is no invitation: cut short, mistyped, or of a later
// version. The error that wraps it says which.
var ErrInvalid = errors.New("not an invitation")

// Code is a code that is good once: ten characters of Crockford's base 32, upper
// case. The zero Code, an empty string, is not valid.
type Code string

// NewCode returns the code for 50 random bits, the lowest ones of random.
func NewCode(random uint64) Code {
	var c [codeChars]byte
	for i := range c {
		c[i] = alphabet[random&31]
		random >>= 5
	}
	return Code(c[:])
}

// Pin is the first 128 bits of the SHA-256 of a public key. Nobody can make a
// second key that has the pin of a given one.
type Pin [pinBytes]byte

// PinOf returns the pin of a certificate's key.
func PinOf(c *x509.Certificate) Pin {
	sum := sha256.Sum256(c.RawSubjectPublicKeyInfo)
	return Pin(sum[:pinBytes])
}

// Equal reports whether two pins are the same, in constant time.
func (p Pin) Equal(q Pin) bool { return subtle.ConstantTimeCompare(p[:], q[:]) == 1 }

// Text is what a person carries from the server to the device.
type Text struct {
	Code Code
	Pin  Pin
}

// String returns the text in groups of five.
func (t Text) String() string {
	body := string(t.Code) + crockford.EncodeToString(t.Pin[:])
	body += checkOf(body)
	var b strings.Builder
	b.WriteString(prefix)
	for i := range len(body) {
		if i%group == 0 {
			b.WriteByte('-')
		}
		b.WriteByte(body[i])
	}
	return b.String()
}

// checkOf returns the check of a code and a pin.
func checkOf(body string) string {
	sum := sha256.Sum256([]byte("pondwright invite 1\x00" + body))
	return crockford.EncodeToString(sum[:])[:sumChars]
}

// Parse reads a text as a person pasted or typed it. The error wraps ErrInvalid.
func Parse(text string) (Text, error) {
	const want = len(prefix) + codeChars + pinChars + sumChars
	if len(text) > 8*want {
		return Text{}, fmt.Errorf("%w: %d bytes long", ErrInvalid, len(text))
	}
	plain := strings.Map(readable, text)
	body, ok := strings.CutPrefix(plain, prefix)
	if !ok {
		return Text{}, fmt.Errorf("%w: it must begin with %s", ErrInvalid, prefix)
	}
	if len(plain) != want {
		return Text{}, fmt.Errorf("%w: %d characters, must be %d", ErrInvalid, len(plain), want)
	}
	if strings.Trim(body, alphabet) != "" {
		return Text{}, fmt.Errorf("%w: it holds characters that no invitation has", ErrInvalid)
	}
	body, sum := body[:codeChars+pinChars], body[codeChars+pinChars:]
	if sum != checkOf(body) {
		return Text{}, fmt.Errorf("%w: a character is wrong", ErrInvalid)
	}
	pin, err := crockford.DecodeString(body[codeChars:])
	if err != nil || crockford.EncodeToString(pin) != body[codeChars:] {
		return Text{}, fmt.Errorf("%w: the pin is malformed", ErrInvalid)
	}
	return Text{Code: Code(body[:codeChars]), Pin: Pin(pin)}, nil
}

// readable drops what separates groups, lifts the case and reads the letters that
// look like digits as digits.
func readable(r rune) rune {
	switch r {
	case '-', '\u2010', '\u2011', '\u2012', '\u2013', '\u2014': // hyphens that word processors make
		return -1
	case 'i', 'I', 'l', 'L':
		return '1'
	case 'o', 'O':
		return '0'
	}
	if unicode.IsSpace(r) {
		return -1
	}
	if 'a' <= r && r <= 'z' {
		return r - 'a' + 'A'
	}
	return r
}
