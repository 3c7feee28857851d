package assemble_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
)

const badInput = "../../testdata/badinput"

// verdict is a line of INDEX.json: what a hostile or odd input deserves.
type verdict struct {
	File     string
	Expect   string // reject, repair or accept
	Scope    string // request, lot or none
	Code     string
	GoodLots []string `json:"good_lots"`
}

// otherCodes are the findings of this package where they differ from those
// proposed in INDEX.json: the codes of d35 and d55 belong to the design.
var otherCodes = map[string]string{
	"d35_building_covers_parcel.geojson": "",
	"d55_ring_around_building.geojson":   "",
}

func (v verdict) code() string {
	if code, ok := otherCodes[v.File]; ok {
		return code
	}
	return v.Code
}

func readVerdicts(t *testing.T) []verdict {
	text, err := os.ReadFile(filepath.Join(badInput, "INDEX.json"))
	require.NoError(t, err)
	var all []verdict
	require.NoError(t, json.Unmarshal(text, &all))
	require.Len(t, all, 101)
	return all
}

func TestBadInput(t *testing.T) {
	for _, v := range readVerdicts(t) {
		t.Run(v.File, func(t *testing.T) {
			path := filepath.Join(badInput, v.File)
			b, err := assemble.Open(context.Background(), []assemble.Input{{Path: path}}, assemble.Options{})
			if v.Scope == "request" {
				checkRefusal(t, v, err)
				return
			}
			require.NoError(t, err)
			defer b.Close()
			checkBatch(t, v, b)
		})
	}
}

func checkRefusal(t *testing.T, v verdict, err error) {
	require.Equal(t, "reject", v.Expect)
	var refusal *importer.Refusal
	require.ErrorAs(t, err, &refusal)
	f := refusal.Finding
	assert.Equal(t, v.code(), f.Rule, f.String())
	assert.Equal(t, importer.ScopeRequest, f.Scope)
	assert.Equal(t, layout.SeverityError, f.Severity)
	file, table := filepath.Join(badInput, v.File), ":lots" // in a file of tables, the one at fault
	assert.Equal(t, file, strings.TrimSuffix(f.File, table))
}

// checkBatch checks that exactly the good lots are assembled, each as it is
// alone, and that every other lot is refused in words.
func checkBatch(t *testing.T, v verdict, b *assemble.Batch) {
	var good []string
	rules := map[string]bool{}
	for _, f := range b.Findings() {
		rules[f.Rule] = true
	}
	for i := range b.Len() {
		item := b.Lot(i)
		require.Equal(t, b.ID(i), item.ID)
		for _, f := range item.Findings {
			rules[f.Rule] = true
			assert.Equal(t, item.ID, f.Lot)
		}
		first, bad := importer.FirstError(item.Findings)
		assert.Equal(t, item.Lot == nil, bad, "lot %q", item.ID)
		if item.Lot == nil {
			assert.Equal(t, "reject", v.Expect, first.String())
			assert.Equal(t, importer.ScopeLot, first.Scope)
			continue
		}
		good = append(good, item.ID)
		assert.Equal(t, alone(t, v.File, item.ID), item.Lot)
	}
	want := slices.Sorted(slices.Values(v.GoodLots))
	assert.Equal(t, want, good)
	if v.Expect == "reject" {
		assert.Less(t, len(good), b.Len())
	}
	if v.code() != "" {
		assert.Contains(t, rules, v.code())
	}
}

// alone assembles one lot of a file from a collection of that lot's features
// only.
func alone(t *testing.T, file, id string) *layout.Lot {
	text, err := os.ReadFile(filepath.Join(badInput, file))
	require.NoError(t, err)
	text = gunzip(t, text)
	var c struct{ Features []json.RawMessage }
	require.NoError(t, json.Unmarshal(text, &c))
	var mine []json.RawMessage
	for _, f := range c.Features {
		var p struct{ Properties struct{ Lot any } }
		_ = json.Unmarshal(f, &p)
		if p.Properties.Lot == id {
			mine = append(mine, f)
		}
	}
	body, err := json.Marshal(map[string]any{"type": "FeatureCollection", "features": mine})
	require.NoError(t, err)
	b, err := assemble.Open(context.Background(), []assemble.Input{{Name: "alone", Reader: bytes.NewReader(body)}}, assemble.Options{})
	require.NoError(t, err)
	defer b.Close()
	require.Equal(t, 1, b.Len())
	return b.Lot(0).Lot
}

// A missing file is a fault of the machine, not of the request.
func TestMissingFile(t *testing.T) {
	_, err := assemble.Open(context.Background(), []assemble.Input{{Path: "nowhere.geojson"}}, assemble.Options{})
	require.Error(t, err)
	var refusal *importer.Refusal
	assert.False(t, errors.As(err, &refusal))
}
