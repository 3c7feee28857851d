package rpc_test

import (
	"crypto/sha256"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

// upload sends a file in one chunk, with its sum.
func (o *office) upload(batch, file string) (*pb.UploadFileResponse, error) {
	o.Helper()
	stream, err := o.batches.UploadFile(o.Context())
	require.NoError(o, err)
	sum := sha256.Sum256([]byte(file))
	for _, m := range []*pb.UploadFileRequest{
		{Message: &pb.UploadFileRequest_Target_{Target: &pb.UploadFileRequest_Target{Parent: "batches/" + batch, UploadId: "u"}}},
		{Message: &pb.UploadFileRequest_Chunk{Chunk: []byte(file)}}, {Message: &pb.UploadFileRequest_Sha256{Sha256: sum[:]}},
	} {
		_ = stream.Send(m) // the answer says what was wrong
	}
	return stream.CloseAndRecv()
}

func TestLimitUpload(t *testing.T) {
	o := keep(t, withLimits(rpc.Limits{Upload: 10}))
	o.create("elm")
	resp, err := o.upload("elm", "lot1 lot22")
	require.NoError(t, err)
	assert.Equal(t, int32(2), resp.Lots.Added)
	require.Len(t, resp.Remarks, 1)
	assert.Equal(t, "about.all", resp.Remarks[0].Rule)
	_, err = o.upload("elm", "lot1 lot222")
	requireLimit(t, err, "Upload")
	const path = "/v1/batches/elm/lots:import"
	r := o.post(t, path, geoJSON, "lot1 lot33")
	assert.Equal(t, http.StatusOK, r.status, r.body)
	r = o.post(t, path, geoJSON, "lot1 lot333")
	assert.Equal(t, http.StatusRequestEntityTooLarge, r.status)
	p := r.problem(t)
	assert.Equal(t, "Upload", p.Limit)
	r = o.post(t, path, geoJSON, zipped(strings.Repeat(" ", 11)), "Content-Encoding", "gzip")
	assert.Equal(t, http.StatusRequestEntityTooLarge, r.status, "as sent and after decompression")
	r = o.post(t, path+"?lot_propert=a", geoJSON, "lot1")
	assert.Equal(t, http.StatusBadRequest, r.status)
	r = o.post(t, path, geoJSON, "refuse-all")
	assert.Equal(t, "json.syntax", r.problem(t).Rule)
	r = o.do(t, http.MethodGet, path, nil)
	assert.Equal(t, "POST", r.header.Get("Allow"))
}

// TestLotsOfFilesThatCannotBeRead are answers, as those of messages are.
func TestLotsOfFilesThatCannotBeRead(t *testing.T) {
	o := keep(t, nil)
	o.create("elm")
	_, err := o.upload("elm", "A refuse-this B")
	require.NoError(t, err)
	o.start("elm")
	lots, end := o.watch(&pb.WatchBatchRequest{Name: "batches/elm"})
	assert.Len(t, lots, 3)
	assert.Equal(t, int32(2), end.Designed)
	assert.Equal(t, int32(1), end.Invalid)
}
