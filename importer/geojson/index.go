package geojson

import (
	"errors"
	"io"
	"math"

	"lotwright/importer"
	"lotwright/layout"
)

// defaultLotProperty is the property with the lot id of a labelled feature.
const defaultLotProperty = "lot"

// recordSeparator precedes each record of a GeoJSON text sequence (RFC 8142).
const recordSeparator = 0x1e

// indexer is the first pass over a document.
type indexer struct {
	d      *Document
	s      *scanner
	reader featureReader
	lotOf  map[string]int32
	guess  *idGuess // nil unless the lot id's property must be guessed

	root     nameSet
	rootType value
	features byte // first byte of the features member; 0 when absent
}

func (d *Document) index(s *scanner, src Source) error {
	x := &indexer{d: d, s: s, lotOf: map[string]int32{}}
	d.lotName = src.LotProperty
	switch {
	case d.layer == layout.LayerParcel && d.lotName == "":
		x.guess = &idGuess{}
		x.reader.idNames = idNames
	case d.layer == "" && d.lotName == "":
		d.lotName = defaultLotProperty
	}
	x.reader.s, x.reader.lotName, x.reader.skim = s, d.lotName, true
	first := s.peek()
	if first == 0 && !s.more() {
		if src.Derived && errors.Is(s.err, io.EOF) {
			return x.finish() // a table without rows
		}
		return emptyOrFault(s)
	}
	read := func() error { return x.collection(first) }
	if formatOf(src, first) == Sequence {
		read = x.sequence
	}
	if err := read(); err != nil {
		return err
	}
	return x.finish()
}

func emptyOrFault(s *scanner) error {
	if errors.Is(s.err, io.EOF) {
		return importer.Refuse(0, "json.empty", "the body is empty")
	}
	return s.err
}

// sequence indexes features that stand one after the other.
func (x *indexer) sequence() error {
	for {
		for x.s.peek() == recordSeparator {
			x.s.pos++
		}
		if end, err := x.s.end(); end || err != nil {
			return err
		}
		if err := x.addFeature(); err != nil {
			return err
		}
		if err := x.endRecord(); err != nil {
			return err
		}
	}
}

// endRecord asks for a line feed, a record separator or the end after a record.
func (x *indexer) endRecord() error {
	for x.s.more() {
		switch x.s.buf[x.s.pos] {
		case ' ', '\t', '\r':
			x.s.pos++
		case '\n', recordSeparator:
			return nil
		default:
			return x.s.fault("the end of the line")
		}
	}
	return nil
}

// collection indexes one FeatureCollection.
func (x *indexer) collection(first byte) error {
	if first != '{' {
		if err := x.s.skip(); err != nil {
			return err
		}
		if err := x.trailing(); err != nil {
			return err
		}
		return importer.Refuse(0, "geojson.not_collection", "the root is %s, a FeatureCollection is wanted", kindName(first))
	}
	if err := x.s.uniqueObject(&x.root, x.rootMember); err != nil {
		return err
	}
	if err := x.trailing(); err != nil {
		return err
	}
	return x.checkRoot()
}

func (x *indexer) trailing() error {
	end, err := x.s.end()
	if end || err != nil {
		return err
	}
	if x.s.buf[x.s.pos] == '{' {
		return importer.Refuse(x.s.offset(), "json.trailing",
			"a second document begins; newline-delimited features need the ending .geojsonl")
	}
	return importer.Refuse(x.s.offset(), "json.trailing", "unexpected data after the document")
}

func (x *indexer) checkRoot() error {
	switch t := x.rootType; {
	case t.kind != '"':
		return importer.Refuse(-1, "geojson.not_collection", "the root's type is %s, FeatureCollection is wanted", kindName(t.kind))
	case t.text == "Feature":
		return importer.Refuse(-1, "geojson.not_collection", "the root is a Feature; wrap it in a FeatureCollection")
	case t.text != "FeatureCollection":
		return importer.Refuse(-1, "geojson.not_collection", "the root's type %.40q is not FeatureCollection", t.text)
	case x.features != '[':
		return importer.Refuse(-1, "geojson.features_missing", "features is %s, an array is wanted", kindName(x.features))
	}
	return nil
}

func (x *indexer) rootMember(name []byte) (err error) {
	switch string(name) {
	case "type":
		x.rootType, err = x.s.value()
	case "crs":
		x.d.crs, err = x.s.crs()
	case "bbox":
		var ok bool
		if ok, err = x.s.bbox(); !ok && err == nil {
			f := badBBox()
			f.Scope = importer.ScopeNone
			x.remark(f)
		}
	case "features":
		if x.features = x.s.peek(); x.features == '[' {
			return x.s.array(x.addFeature)
		}
		return x.s.skip()
	default:
		return x.s.skip()
	}
	return err
}

func (x *indexer) remark(f importer.Finding) {
	f.File = x.d.name
	x.d.findings = append(x.d.findings, f)
}

// addFeature indexes the feature that comes next.
func (x *indexer) addFeature() error {
	kind := x.s.peek()
	at := x.s.offset()
	if kind != '{' {
		if err := x.s.skip(); err != nil {
			return err
		}
		return x.unattributed(at, "the feature is %s", kindName(kind))
	}
	raw, err := x.reader.read()
	if err != nil {
		return err
	}
	length := x.s.offset() - at
	if length > math.MaxUint32 {
		return importer.Refuse(at, "body.too_large", "a single feature is longer than 4 GiB")
	}
	e := entry{offset: at, length: uint32(length), lot: -1, box: -1}
	if err := x.attribute(&e, raw); err != nil {
		return err
	}
	if x.d.layer != "" || raw.layer.text == string(layout.LayerParcel) {
		e.box = int32(len(x.d.boxes))
		x.d.boxes = append(x.d.boxes, raw.bounds)
	}
	x.d.entries = append(x.d.entries, e)
	return nil
}

// attribute gives the feature its lot. A feature that cannot be given to one
// refuses the request: it might be somebody's building.
func (x *indexer) attribute(e *entry, raw *raw) error {
	switch {
	case x.guess != nil:
		x.guess.add(raw)
		return nil
	case x.d.layer == layout.LayerParcel:
		id, ok := raw.lot.asID()
		if !ok {
			return x.unattributed(e.offset, "property %q is %s, the lot id is wanted", x.d.lotName, kindName(raw.lot.kind))
		}
		e.lot = x.intern(id)
		return nil
	case x.d.layer != "":
		return nil
	}
	switch {
	case raw.propertiesKind != '{':
		return x.unattributed(e.offset, "properties is %s, so the feature belongs to no lot", kindName(raw.propertiesKind))
	case raw.lot.kind == 0 || raw.lot.kind == 'n':
		return x.unattributed(e.offset, "property %q is %s, so the feature belongs to no lot", x.d.lotName, kindName(raw.lot.kind))
	case raw.lot.kind != '"':
		return x.refuse(e.offset, "lot.id_type", "property %q is %s, a string is wanted", x.d.lotName, kindName(raw.lot.kind))
	}
	e.lot = x.intern(raw.lot.text)
	return nil
}

func (x *indexer) unattributed(at int64, format string, args ...any) error {
	return x.refuse(at, "feature.unattributed", format, args...)
}

func (x *indexer) refuse(at int64, rule, format string, args ...any) error {
	r := importer.Refuse(at, rule, format, args...)
	r.Finding.Feature = len(x.d.entries)
	return r
}

func (x *indexer) intern(id string) int32 {
	k, ok := x.lotOf[id]
	if !ok {
		k = int32(len(x.d.lots))
		x.d.lots = append(x.d.lots, id)
		x.lotOf[id] = k
	}
	return k
}

// finish settles what is known only at the end.
func (x *indexer) finish() error {
	if x.guess == nil || len(x.d.entries) == 0 {
		return nil
	}
	name, ids, ok := x.guess.best()
	if !ok {
		return importer.Refuse(-1, "join.no_lot_property",
			"no property holds a different value on every parcel; say which one is the lot id")
	}
	x.d.lotName = name
	for i, id := range ids {
		x.d.entries[i].lot = x.intern(id)
	}
	f := importer.Found(layout.SeverityInfo, "join.lot_property", "property %q of the parcels is taken as the lot id", name)
	x.remark(f)
	return nil
}

// crs consumes a crs member (GeoJSON of 2008, section 3) and returns the name
// in it; null and an absent name are the same as no member at all. A member
// that says something else cannot be understood and refuses the request.
func (s *scanner) crs() (string, error) {
	at, kind := s.offset(), s.peek()
	if kind != '{' {
		if err := s.skip(); err != nil || kind == 'n' {
			return "", err
		}
		return "", importer.Refuse(at, "crs.unsupported", "member crs is %s", kindName(kind))
	}
	var name value
	var outer, inner nameSet
	err := s.uniqueObject(&outer, func(member []byte) error {
		if string(member) != "properties" || s.peek() != '{' {
			return s.skip()
		}
		return s.uniqueObject(&inner, func(member []byte) (err error) {
			if string(member) != "name" {
				return s.skip()
			}
			name, err = s.value()
			return err
		})
	})
	if err == nil && name.kind != '"' {
		err = importer.Refuse(at, "crs.unsupported", "member crs does not name a coordinate system")
	}
	return name.text, err
}
