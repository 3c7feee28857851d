//go:build outside

package geojson

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
)

// The corpora lie in the folder named by LOTWRIGHT_CORPORA: jsontestsuite
// (github.com/nst/JSONTestSuite at 1ef36fa0, MIT), geojson-validator
// (github.com/chrieke/geojson-validator at 75c59752, MIT) and geojsonhint
// (github.com/mapbox/geojsonhint at 7d720095, ISC).
func corpus(t *testing.T, pattern string) []string {
	root := os.Getenv("LOTWRIGHT_CORPORA")
	require.NotEmpty(t, root, "LOTWRIGHT_CORPORA is not set")
	files, err := filepath.Glob(filepath.Join(root, pattern))
	require.NoError(t, err)
	require.NotEmpty(t, files, pattern)
	return files
}

// parse runs the scanner alone over a text, as the reader would.
func parse(text []byte) error {
	limits := importer.Limits{Number: 256}.OrDefaults()
	b, err := plainText(bytes.NewReader(text), limits.Body)
	if err != nil {
		return err
	}
	s := newScanner(b.text, limits)
	if err := s.skip(); err != nil {
		return err
	}
	return (&indexer{s: s}).trailing()
}

// What begins with y_ must parse, what begins with n_ must not; i_ is free.
// Numbers may be longer than our default, since one of the y_ is 80 bytes.
func TestJSONTestSuite(t *testing.T) {
	counts := map[string]int{}
	for _, path := range append(corpus(t, "jsontestsuite/test_parsing/*.json"), corpus(t, "jsontestsuite/test_transform/*.json")...) {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		err = parse(text)
		name := filepath.Base(path)
		kind, _, _ := strings.Cut(name, "_")
		switch {
		case strings.Contains(path, "test_transform"):
			kind = "transform"
		case kind == "y":
			assert.NoError(t, err, name)
		case kind == "n":
			assert.Error(t, err, name)
			var refusal *importer.Refusal
			assert.ErrorAs(t, err, &refusal, name)
		}
		counts[kind]++
		// The reader itself must take any of it without panic.
		if d, err := Open(context.Background(), Source{Name: name, Reader: bytes.NewReader(text)}, importer.Limits{}); err == nil {
			d.Close()
		}
	}
	t.Log(counts)
}

// GeoJSON by others: nothing may panic, and what is valid there must not be
// refused for its syntax.
func TestGeoJSONCorpora(t *testing.T) {
	for _, pattern := range []string{
		"geojson-validator/tests/data/*/*json", "geojsonhint/test/data/*/*json",
	} {
		for _, path := range corpus(t, pattern) {
			good := strings.Contains(path, "/valid/") || strings.Contains(path, "/good/")
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			checkForeign(t, path, collection(text), good)
		}
	}
}

// collection makes a FeatureCollection of a text that is a Feature or a
// geometry by itself, since ours must be one.
func collection(text []byte) []byte {
	var root struct{ Type string }
	if json.Unmarshal(text, &root) != nil {
		return text
	}
	switch root.Type {
	case "FeatureCollection", "featurecollection", "":
		return text
	case "Feature":
		return []byte(`{"type":"FeatureCollection","features":[` + string(text) + `]}`)
	}
	return []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":null,"geometry":` + string(text) + `}]}`)
}

func checkForeign(t *testing.T, path string, text []byte, good bool) {
	src := Source{Name: path, Reader: bytes.NewReader(text), Layer: "building"}
	d, err := Open(context.Background(), src, importer.Limits{})
	if err != nil {
		var refusal *importer.Refusal
		require.ErrorAs(t, err, &refusal, path)
		assert.False(t, good, "%s: %v", path, err)
		t.Log(filepath.Base(filepath.Dir(path)), filepath.Base(path), err)
		return
	}
	defer d.Close()
	for i := range d.Len() {
		f := d.Feature(i)
		first, bad := importer.FirstError(f.Findings)
		// No layer is drawn as a GeometryCollection.
		assert.False(t, good && bad && first.Rule != "geometry.type", "%s: %v", path, first)
		t.Log(filepath.Base(filepath.Dir(path)), filepath.Base(path), i, f.Geometry.Type, f.Findings)
	}
}
