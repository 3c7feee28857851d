package geojson

import "lotwright/importer"

// nameSet finds members given twice in one object. Names are few, so they are
// kept in one slice of bytes and searched in order.
type nameSet struct {
	bytes []byte
	ends  []int
}

func (n *nameSet) reset() { n.bytes, n.ends = n.bytes[:0], n.ends[:0] }

// add reports whether name is new, and keeps it.
func (n *nameSet) add(name []byte) bool {
	from := 0
	for _, to := range n.ends {
		if string(n.bytes[from:to]) == string(name) {
			return false
		}
		from = to
	}
	n.bytes = append(n.bytes, name...)
	n.ends = append(n.ends, len(n.bytes))
	return true
}

// uniqueObject walks an object that is read, not skipped: a member given twice
// and more members than the limit refuse the request.
func (s *scanner) uniqueObject(names *nameSet, member func(name []byte) error) error {
	names.reset()
	return s.object(func(name []byte) error {
		if !names.add(name) {
			return importer.Refuse(s.offset(), "json.duplicate_key", "duplicate member %q", name)
		}
		if len(names.ends) > s.limits.Properties {
			return importer.Refuse(s.offset(), "property.too_many", "more than %d members in one object", s.limits.Properties)
		}
		return member(name)
	})
}
