package cli_test

import (
	"bytes"
	"encoding/json"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const demoFolder = "../../testdata/lots/larkenfold/"

// sendFiles posts files as a form.
func sendFiles(t *testing.T, url string, paths ...string) (status int, body []byte) {
	t.Helper()
	var form bytes.Buffer
	w := multipart.NewWriter(&form)
	for _, path := range paths {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		part, err := w.CreateFormFile("file", filepath.Base(path))
		require.NoError(t, err)
		_, err = part.Write(text)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	answer, err := http.Post(url, w.FormDataContentType(), &form)
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err = io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer.StatusCode, body
}

// The demo as a survey office's GeoPackage: its tables are listed with what they
// may be, and its lots come back as GeoJSON that is designed like the file.
func TestFilesAreRead(t *testing.T) {
	_, address := serve(t)
	base := "http://" + address + "/v1/lots:"
	status, body := sendFiles(t, base+"tables", demoFolder+"larkenfold.gpkg", demoFolder+"wall.geojson")
	require.Equal(t, http.StatusOK, status, string(body))
	var listed struct {
		Tables []struct {
			File, Table, Layer, Geometry string
			Columns                      []string
			Features                     int
			Labelled                     bool
		}
	}
	require.NoError(t, json.Unmarshal(body, &listed))
	layers := map[string]string{}
	for _, l := range listed.Tables {
		layers[l.File+":"+l.Table] = l.Layer
		assert.False(t, l.Labelled)
		assert.NotNil(t, l.Columns)
	}
	assert.Equal(t, "parcel", layers["larkenfold.gpkg:parcels"])
	assert.Equal(t, "building", layers["larkenfold.gpkg:building_footprints"])
	assert.Equal(t, "wall", layers["wall.geojson:"])

	status, body = sendFiles(t, base+"read?layer=parcel%3Dlarkenfold.gpkg:parcels&layer=building%3Dlarkenfold.gpkg:building_footprints&lot_property=pin", demoFolder+"larkenfold.gpkg")
	require.Equal(t, http.StatusOK, status, string(body))
	var lots struct {
		Features []struct{ Properties struct{ Lot, Layer string } }
		Findings []struct{ Rule, Severity, Text, File string }
	}
	require.NoError(t, json.Unmarshal(body, &lots))
	ids, kinds := map[string]bool{}, map[string]int{}
	for _, f := range lots.Features {
		ids[f.Properties.Lot] = true
		kinds[f.Properties.Layer]++
	}
	assert.Len(t, ids, 24)
	assert.Equal(t, 24, kinds["parcel"])
	assert.Equal(t, 32, kinds["building"])
	assert.Len(t, kinds, 2)
	assert.NotEmpty(t, lots.Findings)

	status, body = sendFiles(t, base+"read?layer=parcel%3Dlarkenfold.gpkg:streets", demoFolder+"larkenfold.gpkg")
	assert.Equal(t, http.StatusBadRequest, status)
	assert.Contains(t, string(body), "larkenfold.gpkg: the file has no table")
	status, body = sendFiles(t, base+"read?layer=parcel%3Dother.gpkg", demoFolder+"larkenfold.gpkg")
	assert.Equal(t, http.StatusBadRequest, status)
	assert.Contains(t, string(body), "none of the files sent")
	status, body = sendFiles(t, base+"tables")
	assert.Equal(t, http.StatusBadRequest, status, string(body))
	answer, err := http.Post(base+"tables", "application/json", bytes.NewReader([]byte("{}")))
	require.NoError(t, err)
	assert.NoError(t, answer.Body.Close())
	assert.Equal(t, http.StatusUnsupportedMediaType, answer.StatusCode)
}

// A GeoPackage is designed as it is, too, by the command line's guesses.
func TestGeoPackageIsDesigned(t *testing.T) {
	want := texts(t, run(t, "", "design", "../../testdata/import/two_lots.gpkg", "--head-pressure", "55psi", "-q", "-o", "-").out)
	_, address := serve(t)
	file, err := os.Open("../../testdata/import/two_lots.gpkg")
	require.NoError(t, err)
	defer file.Close()
	answer, err := http.Post("http://"+address+"/v1/lots:design?head_pressure=55psi", "application/geopackage+sqlite3", file)
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, answer.StatusCode, string(body))
	assert.Equal(t, want, texts(t, string(body)))
}
