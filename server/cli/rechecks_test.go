package cli_test

import (
	"encoding/json"
	"maps"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "lotwright/proto/lotwright/v1"
)

// byLot are the features of a map, by the id of their lot.
func byLot(t *testing.T, text string) map[string][]map[string]any {
	t.Helper()
	var fc struct{ Features []map[string]any }
	require.NoError(t, json.Unmarshal([]byte(text), &fc))
	lots := map[string][]map[string]any{}
	for _, f := range fc.Features {
		id := f["properties"].(map[string]any)["lot"].(string)
		lots[id] = append(lots[id], f)
	}
	return lots
}

// layerOf are the features of a layer.
func layerOf(features []map[string]any, layer string) (list []map[string]any) {
	for _, f := range features {
		if f["properties"].(map[string]any)["layer"] == layer {
			list = append(list, f)
		}
	}
	return list
}

// TestHeadsMovedInABatch: a head is moved on the exported map, and the map sent
// back is a new revision, however the lots came in.
func TestHeadsMovedInABatch(t *testing.T) {
	features := yards(3)
	k := &keeper{T: t, folder: filepath.Join(t.TempDir(), "data")}
	k.start()
	defer k.stop()
	_, err := k.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{BatchId: "file"})
	require.NoError(t, err)
	file := []byte(collection(features))
	_, err = k.upload(&pb.UploadFileRequest_Target{Parent: "batches/file", UploadId: "u"}, file, 4000, sumOf(file))
	require.NoError(t, err)
	k.fill("messages", []string{"Y-01", "Y-02", "Y-03"}, features)

	after := map[string]map[string][]map[string]any{}
	for _, batch := range []string{"file", "messages"} {
		before := byLot(t, k.designed(batch))
		moved := before["Y-02"]
		place := layerOf(moved, "head")[0]["geometry"].(map[string]any)["coordinates"].([]any)
		was := place[1].(float64)
		place[1] = was + 0.00003 // some 3 m to the north
		text, err := json.Marshal(map[string]any{"type": "FeatureCollection", "features": moved})
		require.NoError(t, err)
		_, err = k.batches.RecheckBatch(t.Context(), &pb.RecheckBatchRequest{Name: "batches/" + batch, Geojson: string(text)})
		require.NoError(t, err)
		require.Equal(t, int32(3), k.finish(batch).Finished)

		got := byLot(t, k.export(batch))
		require.Equal(t, []string{"Y-01", "Y-02", "Y-03"}, slices.Sorted(maps.Keys(got)))
		assert.Equal(t, before["Y-01"], got["Y-01"])
		assert.Equal(t, before["Y-03"], got["Y-03"])
		head := layerOf(got["Y-02"], "head")[0]["geometry"].(map[string]any)["coordinates"].([]any)
		assert.InDelta(t, was+0.00003, head[1], 1e-7)
		coverage := func(lot []map[string]any) float64 {
			return layerOf(lot, "lot")[0]["properties"].(map[string]any)["coverage"].(float64)
		}
		assert.NotEqual(t, coverage(moved), coverage(got["Y-02"]))
		after[batch] = got
	}
	assert.Equal(t, after["file"], after["messages"])
}
