package geojson

import "lotwright/importer"

var idNames = importer.LotIDNames()

// featureID names the feature's own id among the candidates.
const featureID = "(feature id)"

// idGuess collects the candidates for the lot id of every parcel.
type idGuess struct {
	values [][]string // by candidate, then by parcel; the last candidate is the feature's id
	seen   []map[string]bool
	bad    []bool // absent, not a scalar or not unique somewhere
}

func (g *idGuess) add(r *raw) {
	if g.values == nil {
		n := len(idNames) + 1
		g.values, g.seen, g.bad = make([][]string, n), make([]map[string]bool, n), make([]bool, n)
		for k := range g.seen {
			g.seen[k] = map[string]bool{}
		}
	}
	for k := range g.values {
		v := r.id
		if k < len(idNames) {
			v = r.keys[k]
		}
		g.addValue(k, v)
	}
}

// addValue drops a candidate for good when it fails for one parcel.
func (g *idGuess) addValue(k int, v value) {
	if g.bad[k] {
		return
	}
	id, ok := v.asID()
	if !ok || g.seen[k][id] {
		g.bad[k], g.values[k], g.seen[k] = true, nil, nil
		return
	}
	g.seen[k][id] = true
	g.values[k] = append(g.values[k], id)
}

// best returns the first candidate that tells all parcels apart.
func (g *idGuess) best() (name string, ids []string, ok bool) {
	for k, bad := range g.bad {
		if bad {
			continue
		}
		if k == len(idNames) {
			return featureID, g.values[k], true
		}
		return idNames[k], g.values[k], true
	}
	return "", nil, false
}

// asID returns a string or a number as an id, the number as it was written.
func (v value) asID() (string, bool) {
	if v.kind == '"' && v.text != "" || v.isNumber() {
		return v.text, true
	}
	return "", false
}
