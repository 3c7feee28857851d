package asbuilt_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/asbuilt"
	"lotwright/importer/assemble"
	"lotwright/importer/geojson"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/feature"
)

// BenchmarkRecheck reads back and works out the design of every invented lot in
// turn: what it takes to answer for a head that was dragged.
func BenchmarkRecheck(b *testing.B) {
	batch, err := assemble.Open(context.Background(), []assemble.Input{{Path: "../../testdata/lots/larkenfold/subdivision.geojson"}}, assemble.Options{})
	require.NoError(b, err)
	defer batch.Close()
	s := design.Settings{Effort: design.QuickEffort(), Supply: settings().Supply}
	type edit struct {
		lot    *layout.Lot
		edited layout.Edited
	}
	var edits []edit
	for i := range batch.Len() {
		lot := batch.Lot(i).Lot
		d, err := design.Run(context.Background(), lot, s)
		require.NoError(b, err)
		if len(d.Heads) == 0 {
			continue
		}
		var features []importer.Feature
		for _, text := range feature.Features(d) {
			x, err := geojson.Decode(text, importer.Limits{})
			require.NoError(b, err)
			features = append(features, x)
		}
		edited, findings := asbuilt.Of(d.LotID, features).Edited(lot.Plane.(project.Plane))
		require.Empty(b, findings)
		edits = append(edits, edit{lot, edited})
	}
	for i := 0; b.Loop(); i++ {
		e := edits[i%len(edits)]
		_, err := design.Recheck(context.Background(), e.lot, e.edited, s)
		require.NoError(b, err)
	}
}
