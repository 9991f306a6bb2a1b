package block

import (
	"crypto/sha256"
	"strings"
	"unicode"
)

// PondID returns the id of the pond called name: the first 16 bytes of
// SHA-256("pondwright pond 1\x00" + NormalizeName(name)). Two boats that name the
// same pond alike while offline meet in one pond without asking anybody; a pond
// that is renamed later keeps its id. An empty name gives the zero ID.
func PondID(name string) ID {
	name = NormalizeName(name)
	if name == "" {
		return ID{}
	}
	sum := sha256.Sum256([]byte("pondwright pond 1\x00" + name))
	return ID(sum[:16])
}

// NormalizeName removes what people do not see or do not mean in a name: white
// space at the ends, more than one space in a row, and the case of letters by
// Unicode simple case folding. It does not compose accents: a name typed with a
// combining accent differs from one typed with the single letter.
func NormalizeName(name string) string {
	name = strings.ToValidUTF8(name, "\uFFFD")
	return strings.Map(fold, strings.Join(strings.Fields(name), " "))
}

// fold maps a letter to the smallest of those that differ from it only by case,
// and an upper-case Latin letter back down so that names stay readable.
func fold(r rune) rune {
	least := r
	for next := unicode.SimpleFold(r); next != r; next = unicode.SimpleFold(next) {
		least = min(least, next)
	}
	if 'A' <= least && least <= 'Z' {
		return least + 'a' - 'A'
	}
	return least
}
