package importer

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// LotIDNames are the properties that are looked at, in this order and in any
// letter case, for the id of an unlabelled parcel.
func LotIDNames() []string {
	return []string{"lot", "lot_id", "lotid", "lot_no", "parcel_id", "parcelid", "parcel", "apn", "pin", "id", "name", "fid", "objectid"}
}

// CheckLotID says what is wrong with a lot id, if anything: ids are 1 to
// most bytes of UTF-8 in normalization form C, without control or format
// characters and without blanks at either end. Anything else is the user's
// own affair; nothing is ever named or addressed by an id without escaping.
func CheckLotID(id string, most int) (Finding, bool) {
	const rule = "lot.id_invalid"
	switch {
	case id == "":
		return Fault(rule, "the lot id is empty"), false
	case len(id) > most:
		return Fault(rule, "the lot id is longer than %d bytes", most), false
	case !utf8.ValidString(id):
		return Fault(rule, "the lot id is not UTF-8"), false
	case strings.TrimSpace(id) != id:
		return Fault(rule, "the lot id is padded with blanks"), false
	case !norm.NFC.IsNormalString(id):
		return Fault(rule, "the lot id is not in Unicode normalization form C"), false
	}
	for _, r := range id {
		switch {
		case unicode.Is(unicode.Cc, r):
			return Fault(rule, "control character U+%04X in the lot id", r), false
		case unicode.Is(unicode.Cf, r), r == '\u2028', r == '\u2029':
			return Fault(rule, "format character U+%04X in the lot id", r), false
		}
	}
	return Finding{}, true
}
