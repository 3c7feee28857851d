package cli_test

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
)

// upload sends a file from a place on in chunks, and its sum when it is not nil.
func (k *keeper) upload(target *pb.UploadFileRequest_Target, file []byte, chunk int, sum []byte) (*pb.UploadFileResponse, error) {
	k.Helper()
	stream, err := k.batches.UploadFile(k.Context())
	require.NoError(k, err)
	send := func(m *pb.UploadFileRequest) { _ = stream.Send(m) } // the answer says what was wrong
	send(&pb.UploadFileRequest{Message: &pb.UploadFileRequest_Target_{Target: target}})
	for len(file) > 0 {
		n := min(chunk, len(file))
		send(&pb.UploadFileRequest{Message: &pb.UploadFileRequest_Chunk{Chunk: file[:n]}})
		file = file[n:]
	}
	if sum != nil {
		send(&pb.UploadFileRequest{Message: &pb.UploadFileRequest_Sha256{Sha256: sum}})
	}
	return stream.CloseAndRecv()
}

func sumOf(file []byte) []byte {
	s := sha256.Sum256(file)
	return s[:]
}

// designed runs a batch and gives its export.
func (k *keeper) designed(batch string) string {
	k.Helper()
	_, err := k.batches.DesignBatch(k.Context(), &pb.DesignBatchRequest{
		Name: "batches/" + batch, Settings: &pb.Settings{Supply: &pb.Supply{HeadPressureKpa: proto.Float64(380)}, Effort: pb.Settings_QUICK},
	})
	require.NoError(k, err)
	k.finish(batch)
	return k.export(batch)
}

// TestFilesIntoABatch: a file comes in over either door, in any of its forms, and
// its designs are the command line's bytes.
func TestFilesIntoABatch(t *testing.T) {
	features := append(yards(2), crossed("X-1"))
	text := []byte(collection(features))
	want := run(t, string(text), "design", "-", "--head-pressure", "380kPa", "--effort", "quick", "-q", "-o", "-").out
	var zipped bytes.Buffer
	w := gzip.NewWriter(&zipped)
	_, err := w.Write(text)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	const tables = "../../testdata/lots/larkenfold/larkenfold.gpkg"

	k := &keeper{T: t, folder: filepath.Join(t.TempDir(), "data")}
	k.start()
	defer k.stop()
	for name, file := range map[string][]byte{"plain": text, "zipped": zipped.Bytes()} {
		_, err := k.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{BatchId: name})
		require.NoError(t, err)
		resp, err := k.upload(&pb.UploadFileRequest_Target{Parent: "batches/" + name, UploadId: "u"}, file, 1000, sumOf(file))
		require.NoError(t, err)
		assert.Equal(t, int64(len(file)), resp.Received)
		assert.Equal(t, int32(3), resp.Lots.Added)
		assert.Equal(t, want, k.designed(name), name)
	}
	post := func(batch, kind string, file []byte) (int, string) {
		answer, err := http.Post(k.http+"/v1/batches/"+batch+"/lots:import", kind, bytes.NewReader(file))
		require.NoError(t, err)
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return answer.StatusCode, string(body)
	}
	_, err = k.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{BatchId: "rest"})
	require.NoError(t, err)
	code, body := post("rest", "application/geo+json", text)
	require.Equal(t, http.StatusOK, code, body)
	assert.Contains(t, body, `"added":3`)
	assert.Equal(t, want, k.designed("rest"))
	_, body = post("rest", "application/geo+json", text)
	assert.Contains(t, strings.ReplaceAll(body, " ", ""), `"added":3`, "the same file again is the same import")
	code, body = post("rest", "text/plain", text)
	assert.Equal(t, http.StatusUnsupportedMediaType, code, body)
	code, body = post("none", "text/plain", text)
	assert.Equal(t, http.StatusNotFound, code, body)
	code, body = post("rest", "application/geo+json", []byte(`{"type":"FeatureCollection","features":[`))
	assert.Equal(t, http.StatusBadRequest, code, body)
	assert.Contains(t, body, `"rule"`)

	// A GeoPackage as one file of tables.
	if _, err := os.Stat(tables); err == nil {
		file, err := os.ReadFile(tables)
		require.NoError(t, err)
		_, err = k.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{BatchId: "tables"})
		require.NoError(t, err)
		code, body = post("tables", "application/geopackage+sqlite3", file)
		require.Equal(t, http.StatusOK, code, body)
		assert.Contains(t, body, `"refused":0`)
	}
}

// TestUploadGoesOn: what was acknowledged is there after the service was started
// again, and is not sent twice.
func TestUploadGoesOn(t *testing.T) {
	file := []byte(collection(yards(2)))
	k := &keeper{T: t, folder: filepath.Join(t.TempDir(), "data")}
	k.start()
	_, err := k.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{BatchId: "elm"})
	require.NoError(t, err)
	target := func(from int64) *pb.UploadFileRequest_Target {
		return &pb.UploadFileRequest_Target{Parent: "batches/elm", UploadId: "u", From: from}
	}
	resp, err := k.upload(target(0), file[:700], 300, nil)
	require.NoError(t, err)
	assert.Equal(t, int64(700), resp.Received)
	assert.Nil(t, resp.Lots)
	k.stop()
	k.start()
	defer k.stop()
	resp, err = k.upload(target(0), nil, 1, nil)
	require.NoError(t, err)
	assert.Equal(t, int64(700), resp.Received)
	_, err = k.upload(target(701), nil, 1, nil)
	assert.Equal(t, codes.OutOfRange, status.Code(err))
	_, err = k.upload(target(600), file[600:650], 100, sumOf(file))
	assert.Equal(t, codes.InvalidArgument, status.Code(err), "the sum comes before what is kept has been passed")
	resp, err = k.upload(target(500), file[500:], 300, sumOf(file)) // 200 bytes twice
	require.NoError(t, err)
	assert.Equal(t, int64(len(file)), resp.Received)
	assert.Equal(t, int32(2), resp.Lots.Added)
	resp, err = k.upload(target(0), file, 300, sumOf(file))
	require.NoError(t, err)
	assert.Equal(t, int32(2), resp.Lots.Acknowledged, "the same file again")
	batch, err := k.batches.GetBatch(t.Context(), &pb.GetBatchRequest{Name: "batches/elm"})
	require.NoError(t, err)
	assert.Equal(t, int32(2), batch.Lots)

	_, err = k.upload(target(0), file, 300, sumOf([]byte("another")))
	assert.Equal(t, codes.DataLoss, status.Code(err))
	resp, err = k.upload(target(0), nil, 1, nil)
	require.NoError(t, err)
	assert.Zero(t, resp.Received, "of what was spoilt nothing is kept")
	_, err = k.upload(target(0), make([]byte, 256<<10), 256<<10, nil)
	require.NoError(t, err)
	_, err = k.upload(target(0), make([]byte, 256<<10+1), 256<<10+1, nil)
	assert.Equal(t, codes.ResourceExhausted, status.Code(err))
	for _, bad := range []*pb.UploadFileRequest_Target{nil, {Parent: "batches/elm"}, {Parent: "batches/elm", UploadId: strings.Repeat("u", 129)}, {Parent: "elm", UploadId: "u"}, target(-1)} {
		_, err = k.upload(bad, nil, 1, nil)
		assert.Equal(t, codes.InvalidArgument, status.Code(err), "%v", bad)
	}
	_, err = k.upload(&pb.UploadFileRequest_Target{Parent: "batches/none", UploadId: "u"}, nil, 1, nil)
	assert.Equal(t, codes.NotFound, status.Code(err))
	_, err = k.upload(&pb.UploadFileRequest_Target{Parent: "batches/elm", UploadId: "junk"}, []byte("junk"), 9, sumOf([]byte("junk")))
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	left, err := os.ReadDir(filepath.Join(k.folder, "uploads"))
	require.NoError(t, err)
	assert.Len(t, left, 1, "only the upload that goes on")
}
