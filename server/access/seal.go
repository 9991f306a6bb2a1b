package access

import (
	"crypto/ecdsa"
	"crypto/hmac"
	"crypto/sha256"
)

// sealKey derives the key of Registry.Seal from the authority's.
func sealKey(key *ecdsa.PrivateKey) ([]byte, error) {
	secret, err := key.Bytes()
	if err != nil {
		return nil, err
	}
	derived := hmac.New(sha256.New, secret)
	derived.Write([]byte("pondwright seal 1"))
	return derived.Sum(nil), nil
}

// Seal returns a code over bytes that only whoever holds the authority's key can
// make: HMAC-SHA256 under a key derived from it.
func (r *Registry) Seal(what []byte) [32]byte {
	code := hmac.New(sha256.New, r.authority.seal)
	code.Write(what)
	return [32]byte(code.Sum(nil))
}
