package table

import (
	"strings"
	"unicode"

	"lotwright/layout"
)

// words are what tables of a layer are named after, in the singular and in
// lower case. They are a judgement, from names that survey offices and their
// tools use.
var words = map[layout.Layer][]string{
	layout.LayerParcel:     {"parcel", "lot", "plot", "cadastre"},
	layout.LayerTurf:       {"turf", "lawn", "grass"},
	layout.LayerBed:        {"bed", "planting", "shrub"},
	layout.LayerBuilding:   {"building", "footprint", "roof", "house", "structure"},
	layout.LayerHardscape:  {"hardscape", "paving", "pavement", "paved", "driveway", "sidewalk", "patio", "impervious", "parking"},
	layout.LayerWater:      {"water", "pool", "pond"},
	layout.LayerWall:       {"wall", "fence"},
	layout.LayerTree:       {"tree"},
	layout.LayerNoDig:      {"nodig"},
	layout.LayerSleeve:     {"sleeve"},
	layout.LayerSource:     {"source", "tap"},
	layout.LayerController: {"controller"},
	layout.LayerSpotHeight: {"spotheight"},
	layout.LayerHead:       {"head"},
}

// containedWord is the length from which a word counts within another, as
// "parcel" does in "taxparcels".
const containedWord = 6

// Guess returns the layer that a table's name speaks of; false when it speaks
// of none, or of several.
func Guess(name string) (found layout.Layer, ok bool) {
	parts := split(name)
	for _, layer := range layout.InputLayers() {
		if !speaksOf(parts, words[layer]) {
			continue
		}
		if ok {
			return "", false
		}
		found, ok = layer, true
	}
	return found, ok
}

func speaksOf(parts, words []string) bool {
	for _, p := range parts {
		for _, w := range words {
			if p == w || len(w) >= containedWord && strings.Contains(p, w) {
				return true
			}
		}
	}
	return false
}

// split takes a name apart at everything but letters, and where a capital
// follows a small letter, into words in lower case and in the singular. Each
// two neighbours, run together, are one more: "no_dig" is two words and a layer.
func split(name string) []string {
	var b strings.Builder
	small := false
	for _, r := range name {
		if small && unicode.IsUpper(r) || !unicode.IsLetter(r) {
			b.WriteByte(' ')
		}
		if unicode.IsLetter(r) {
			b.WriteRune(unicode.ToLower(r))
		}
		small = unicode.IsLower(r)
	}
	parts := strings.Fields(b.String())
	for i, p := range parts {
		parts[i] = strings.TrimSuffix(p, "s")
	}
	for i := range len(parts) - 1 {
		parts = append(parts, parts[i]+parts[i+1])
	}
	return parts
}
