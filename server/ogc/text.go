package ogc

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
)

// encoded is a feature as package layout/feature wrote it, cut apart.
type encoded struct {
	layer      string
	properties []byte // JSON object
	geometry   []byte // JSON object or null
}

// What stands around the parts. None of it can stand in a string of JSON, whose
// quotes are escaped.
var (
	beforeProperties = []byte(`{"type":"Feature","properties":`)
	beforeGeometry   = []byte(`,"geometry":`)
	beforeLayer      = []byte(`,"layer":"`)
)

func cut(text []byte) (encoded, error) {
	rest, ok := bytes.CutPrefix(text, beforeProperties)
	properties, geometry, found := bytes.Cut(rest, beforeGeometry)
	_, layer, named := bytes.Cut(properties, beforeLayer)
	end := bytes.IndexByte(layer, '"')
	if !ok || !found || !named || end < 0 || len(geometry) < 2 || !bytes.HasSuffix(geometry, []byte("}")) {
		return encoded{}, fmt.Errorf("a feature begins with %.60q, not as they are written", text)
	}
	return encoded{layer: string(layer[:end]), properties: properties, geometry: geometry[:len(geometry)-1]}, nil
}

// null reports whether there is nothing to show.
func (e encoded) null() bool { return e.geometry[0] != '{' }

// values are the properties; numbers are float64.
func (e encoded) values() (map[string]any, error) {
	var out map[string]any
	err := json.Unmarshal(e.properties, &out)
	return out, err
}

var errPositions = errors.New("a geometry whose positions cannot be read")

// numberAt finds the next number in JSON without strings that hold digits.
func numberAt(text []byte, from int) (start, end int) {
	isPart := func(b byte) bool { return b >= '0' && b <= '9' || b == '-' || b == '.' }
	for start = from; start < len(text) && !isPart(text[start]); start++ {
	}
	for end = start; end < len(text) && (isPart(text[end]) || text[end] == 'e' || text[end] == '+'); end++ {
	}
	return start, end
}

// eachPosition calls visit with every position of a geometry and where in the
// text it begins and ends.
func eachPosition(geometry []byte, visit func(x, y float64, start, end int)) error {
	for at := 0; ; {
		start, middle := numberAt(geometry, at)
		if start == len(geometry) {
			return nil
		}
		second, end := numberAt(geometry, middle)
		x, errX := strconv.ParseFloat(string(geometry[start:middle]), 64)
		y, errY := strconv.ParseFloat(string(geometry[second:end]), 64)
		if errX != nil || errY != nil {
			return errPositions
		}
		visit(x, y, start, end)
		at = end
	}
}

// appendGeometry writes a geometry in another system.
func (s system) appendGeometry(dst, geometry []byte) ([]byte, error) {
	if s.forward == nil {
		return append(dst, geometry...), nil
	}
	done := 0
	err := eachPosition(geometry, func(lon, lat float64, start, end int) {
		x, y := s.forward(lon, lat)
		dst = append(dst, geometry[done:start]...)
		dst = strconv.AppendFloat(dst, x, 'f', gridDecimals, 64)
		dst = strconv.AppendFloat(append(dst, ','), y, 'f', gridDecimals, 64)
		done = end
	})
	return append(dst, geometry[done:]...), err
}

// appendFeature writes a feature with its id, up to its closing brace.
func (s system) appendFeature(dst []byte, id int64, e encoded) ([]byte, error) {
	dst = strconv.AppendInt(append(dst, `{"type":"Feature","id":`...), id, 10)
	dst = append(append(dst, `,"properties":`...), e.properties...)
	return s.appendGeometry(append(dst, `,"geometry":`...), e.geometry)
}
