package geojson

import (
	"math"
	"slices"
	"strings"

	"lotwright/importer"
)

// value is a scalar member as it stood in the text: kind is its first byte
// ('"', '{', '[', 't', 'f', 'n', '-' or a digit), 0 when the member is absent.
type value struct {
	kind byte
	text string  // of a string, or of a number as written
	num  float64 // of a number
}

// kindName names a kind for messages.
func kindName(kind byte) string {
	switch kind {
	case 0:
		return "missing"
	case '"':
		return "a string"
	case '{':
		return "an object"
	case '[':
		return "an array"
	case 't', 'f':
		return "a boolean"
	case 'n':
		return "null"
	}
	return "a number"
}

func (v value) isNumber() bool { return isNumberStart(v.kind) }

// value consumes one value of any kind and keeps it when it is a scalar.
func (s *scanner) value() (value, error) {
	switch c := s.peek(); {
	case c == '"':
		text, err := s.string()
		return value{kind: c, text: string(text)}, err
	case isNumberStart(c):
		num, err := s.number()
		return value{kind: c, text: string(s.text), num: num}, err
	default:
		return value{kind: c}, s.skip()
	}
}

// raw is a feature as it stood in the text, not yet judged.
type raw struct {
	kind       value // member type
	id         value
	lot, layer value
	fixed      value
	joined     value
	quantities []importer.Quantity
	notNumbers []string // known quantities that are not numbers
	texts      []importer.Text

	propertiesKind byte // first byte of properties; 0 when absent
	geometryKind   byte
	geometryType   value
	coordsKind     byte
	coordsAt       int64 // offset of the coordinates
	coordsEnd      int64
	badBBox        bool

	bounds importer.Bounds // only when skimmed
	keys   []value         // by index of featureReader.idNames
}

// featureReader reads features one after the other. Its three name sets belong
// to the three objects that may be open at a time.
type featureReader struct {
	s       *scanner
	lotName string   // property with the lot id
	idNames []string // properties to collect as candidates for it, in lower case
	skim    bool     // collect bounds rather than skip the coordinates

	feature, properties, geometry nameSet
	raw                           raw
}

// read consumes one feature, which must be an object.
func (r *featureReader) read() (*raw, error) {
	r.raw = raw{bounds: importer.EmptyBounds(), keys: make([]value, len(r.idNames))}
	err := r.s.uniqueObject(&r.feature, r.featureMember)
	return &r.raw, err
}

func (r *featureReader) featureMember(name []byte) (err error) {
	switch string(name) {
	case "type":
		r.raw.kind, err = r.s.value()
	case "id":
		r.raw.id, err = r.s.value()
	case "bbox":
		var ok bool
		ok, err = r.s.bbox()
		r.raw.badBBox = !ok
	case "properties":
		if r.raw.propertiesKind = r.s.peek(); r.raw.propertiesKind == '{' {
			return r.s.uniqueObject(&r.properties, r.property)
		}
		return r.s.skip()
	case "geometry":
		if r.raw.geometryKind = r.s.peek(); r.raw.geometryKind == '{' {
			return r.s.uniqueObject(&r.geometry, r.geometryMember)
		}
		return r.s.skip()
	default:
		return r.s.skip()
	}
	return err
}

func (r *featureReader) property(name []byte) (err error) {
	if len(r.idNames) > 0 {
		if k := slices.Index(r.idNames, strings.ToLower(string(name))); k >= 0 {
			r.raw.keys[k], err = r.s.value()
			return err
		}
	}
	switch {
	case string(name) == r.lotName:
		r.raw.lot, err = r.s.value()
	case string(name) == "layer":
		r.raw.layer, err = r.s.value()
	case string(name) == "fixed":
		r.raw.fixed, err = r.s.value()
	case string(name) == "joined":
		r.raw.joined, err = r.s.value()
	case isQuantity(name):
		return r.quantity(string(name))
	case textNames[string(name)]:
		return r.inWords(string(name))
	default:
		return r.s.skip()
	}
	return err
}

var quantityNames, textNames = setOf(importer.QuantityNames()), setOf(importer.TextNames())

func setOf(names []string) map[string]bool {
	m := map[string]bool{}
	for _, name := range names {
		m[name] = true
	}
	return m
}

func isQuantity(name []byte) bool { return quantityNames[string(name)] }

// inWords keeps a known property in words, or a number as it was written; of
// anything else nothing is made.
func (r *featureReader) inWords(name string) error {
	v, err := r.s.value()
	if v.kind == '"' || v.isNumber() {
		r.raw.texts = append(r.raw.texts, importer.Text{Name: name, Value: v.text})
	}
	return err
}

// quantity keeps a known numeric property; null is the same as absent, since
// tables have every column in every row.
func (r *featureReader) quantity(name string) error {
	v, err := r.s.value()
	switch {
	case v.kind == 'n':
	case v.isNumber():
		r.raw.quantities = append(r.raw.quantities, importer.Quantity{Name: name, Value: v.num})
	default:
		r.raw.notNumbers = append(r.raw.notNumbers, name)
	}
	return err
}

func (r *featureReader) geometryMember(name []byte) (err error) {
	switch string(name) {
	case "type":
		r.raw.geometryType, err = r.s.value()
		return err
	case "coordinates":
		r.raw.coordsKind = r.s.peek()
		r.raw.coordsAt = r.s.offset()
		if r.skim {
			err = r.skimCoordinates()
		} else {
			err = r.s.skip()
		}
		r.raw.coordsEnd = r.s.offset()
		return err
	default:
		return r.s.skip()
	}
}

// skimCoordinates consumes coordinates nested anyhow and grows the bounds by
// the first two numbers of every array.
func (r *featureReader) skimCoordinates() error {
	if r.s.peek() != '[' {
		return r.s.skip()
	}
	n, p := 0, importer.Position{math.NaN(), math.NaN()}
	err := r.s.array(func() error {
		if !isNumberStart(r.s.peek()) {
			return r.skimCoordinates()
		}
		v, err := r.s.number()
		if n < len(p) {
			p[n] = v
		}
		n++
		return err
	})
	if n >= len(p) {
		r.raw.bounds = r.raw.bounds.Grow(p)
	}
	return err
}

// bbox consumes a bbox member and reports whether it is four or six numbers.
// Nothing is done with it: bounds are taken from the coordinates.
func (s *scanner) bbox() (ok bool, err error) {
	if s.peek() != '[' {
		return false, s.skip()
	}
	numbers, others := 0, 0
	err = s.array(func() error {
		if isNumberStart(s.peek()) {
			numbers++
		} else {
			others++
		}
		return s.skip()
	})
	return others == 0 && (numbers == 4 || numbers == 6), err
}
