package cli

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
)

const (
	// slugLength bounds the readable part of a file name, well under the 255
	// bytes common file systems allow.
	slugLength = 60
	// hashLength is the number of hexadecimal digits that tell altered names
	// apart: 48 bits, so that among 100,000 lots a clash has a chance of 2e-5.
	hashLength = 12
)

// safeName turns a lot's id into a file name without extension that cannot
// leave its folder and means the same on every system. An id of ASCII letters,
// digits, dashes and underscores is kept; anything else is altered and then
// carries a hash of the id, so that two ids that look alike do not meet.
func safeName(id string) string {
	if s := slug(id); s == id && !reservedName(s) {
		return s
	}
	return hashedName(id)
}

// hashedName is the altered form of [safeName].
func hashedName(id string) string {
	sum := sha256.Sum256([]byte(id))
	return strings.TrimPrefix(slug(id)+"-"+hex.EncodeToString(sum[:])[:hashLength], "-")
}

// slug is the readable part of a file name.
func slug(id string) string {
	s := strings.Map(safeRune, id)
	return strings.Trim(s[:min(len(s), slugLength)], "-")
}

// safeRune keeps what every file system takes literally and makes the rest a dash.
func safeRune(r rune) rune {
	switch {
	case 'a' <= r && r <= 'z', 'A' <= r && r <= 'Z', '0' <= r && r <= '9', r == '_', r == '-':
		return r
	}
	return '-'
}

// reservedName reports names that cannot be used as they are: the empty one,
// and the device names that some systems give a meaning to in every folder.
func reservedName(slug string) bool {
	switch s := strings.ToLower(slug); s {
	case "", "con", "prn", "aux", "nul":
		return true
	default:
		return len(s) == 4 && (strings.HasPrefix(s, "com") || strings.HasPrefix(s, "lpt"))
	}
}
