package assemble_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout/geom"
)

// Any text gives lots or findings, never a panic, and lots that come out have
// sound regions.
func FuzzAssemble(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(badInput, "[bcd]*.geojson"))
	require.NoError(f, err)
	for _, path := range files {
		if text, err := os.ReadFile(path); err == nil && len(text) < 4000 {
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		b, err := assemble.Open(context.Background(), []assemble.Input{{Name: "fuzz", Reader: bytes.NewReader(text)}},
			assemble.Options{Limits: importer.Limits{Body: 1 << 20}})
		if err != nil {
			var refusal *importer.Refusal
			require.ErrorAs(t, err, &refusal)
			return
		}
		defer b.Close()
		for i := range b.Len() {
			checkItem(t, b.Lot(i))
		}
	})
}

func checkItem(t testing.TB, item assemble.Item) {
	first, bad := importer.FirstError(item.Findings)
	require.Equal(t, item.Lot == nil, bad)
	require.NotEqual(t, "internal", first.Rule, first.String())
	if item.Lot != nil {
		checkLot(t, item.Lot)
	}
}

// Parcels and buildings of any corners, on a grid that makes them touch and
// cross often.
func FuzzShapes(f *testing.F) {
	f.Add([]byte{0, 0, 60, 0, 60, 40, 0, 40}, []byte{10, 10, 30, 10, 30, 30, 10, 30})
	f.Add([]byte{0, 0, 60, 40, 60, 0, 0, 40}, []byte{0, 0, 60, 0, 60, 40})
	f.Fuzz(func(t *testing.T, parcel, building []byte) {
		if len(parcel) > 100 || len(building) > 100 {
			return
		}
		item := assemble.Lot("fuzz", []importer.Feature{area("parcel", offsets(parcel)), area("building", offsets(building))}, assemble.Options{})
		checkItem(t, item)
		if item.Lot != nil {
			lawn := geom.Difference(item.Lot.Parcel, item.Lot.Building)
			require.InDelta(t, item.Lot.Parcel.AreaM2(), lawn.AreaM2()+item.Lot.Building.AreaM2(),
				gridArea(lawn)+gridArea(item.Lot.Parcel)+gridArea(item.Lot.Building))
		}
	})
}

// offsets reads half metres.
func offsets(b []byte) (ring []importer.Position) {
	for i := 0; i+1 < len(b); i += 2 {
		ring = append(ring, metre(float64(b[i])/2, float64(b[i+1])/2))
	}
	return ring
}
