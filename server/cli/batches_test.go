package cli_test

import (
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/cli"
)

// keeper is a service with a data folder that can be stopped and started.
type keeper struct {
	*testing.T
	folder     string
	more       []string // flags
	http       string
	batches    pb.BatchServiceClient
	connection *grpc.ClientConn
	cancel     context.CancelFunc
	ended      chan int
}

func (k *keeper) start() {
	k.Helper()
	log := &watched{pattern: regexp.MustCompile(`grpc=(\S+) http=(\S+)`), found: make(chan []string, 1)}
	found := log.found
	var ctx context.Context
	ctx, k.cancel = context.WithCancel(context.Background())
	k.ended = make(chan int, 1)
	go func() {
		args := []string{"serve", "--data", k.folder, "--grpc-listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0"}
		k.ended <- cli.Run(ctx, append(args, k.more...), strings.NewReader(""), io.Discard, log)
	}()
	select {
	case m := <-found:
		var err error
		k.connection, err = grpc.NewClient(m[1], grpc.WithTransportCredentials(insecure.NewCredentials()))
		require.NoError(k, err)
		k.http, k.batches = "http://"+m[2], pb.NewBatchServiceClient(k.connection)
	case code := <-k.ended:
		require.FailNow(k, "the service ended", "code %d: %s", code, log.text.String())
	}
}

func (k *keeper) stop() {
	k.Helper()
	_ = k.connection.Close()
	k.cancel()
	assert.Equal(k, cli.ExitOK, <-k.ended)
}

// fill imports the lots of a collection.
func (k *keeper) fill(batch string, ids []string, features []string) {
	k.Helper()
	_, err := k.batches.CreateBatch(k.Context(), &pb.CreateBatchRequest{BatchId: batch})
	require.NoError(k, err)
	stream, err := k.batches.ImportLots(k.Context())
	require.NoError(k, err)
	target := &pb.ImportLotsRequest_Target{Parent: "batches/" + batch, ImportId: "i"}
	require.NoError(k, stream.Send(&pb.ImportLotsRequest{Message: &pb.ImportLotsRequest_Target_{Target: target}}))
	for _, id := range ids {
		require.NoError(k, stream.Send(&pb.ImportLotsRequest{Message: &pb.ImportLotsRequest_Lot{Lot: message(k.T, id, features)}}))
	}
	resp, err := stream.CloseAndRecv()
	require.NoError(k, err)
	require.Equal(k, int32(len(ids)), resp.Added)
}

// finish waits for the end of a batch's run.
func (k *keeper) finish(batch string) *pb.DesignBatchMetadata {
	k.Helper()
	stream, err := k.batches.WatchBatch(k.Context(), &pb.WatchBatchRequest{Name: "batches/" + batch})
	require.NoError(k, err)
	var end *pb.DesignBatchMetadata
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return end
		}
		require.NoError(k, err)
		end = m.GetEnd()
	}
}

func (k *keeper) export(batch string) string {
	k.Helper()
	answer, err := http.Get(k.http + "/v1/batches/" + batch + ":export")
	require.NoError(k, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(k, err)
	require.Equal(k, http.StatusOK, answer.StatusCode, string(body))
	return string(body)
}

// TestBatchOutlivesTheService: a run goes on where it was when the service is
// started again, from the folder or from a backup of it, and ends in the command
// line's bytes, also of a lot that is refused.
func TestBatchOutlivesTheService(t *testing.T) {
	ids := []string{"X-1", "Y-01", "Y-02", "Y-03"}
	features := append(yards(3), crossed("X-1"))
	want := run(t, collection(features), "design", "-", "--head-pressure", "380kPa", "-q", "-o", "-").out

	k := &keeper{T: t, folder: filepath.Join(t.TempDir(), "data")}
	k.start()
	k.fill("elm", ids, features)
	_, err := k.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{
		Name: "batches/elm", Settings: &pb.Settings{Supply: &pb.Supply{HeadPressureKpa: proto.Float64(380)}},
	})
	require.NoError(t, err)
	second := run(t, "", "serve", "--data", k.folder, "--grpc-listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0")
	assert.Equal(t, cli.ExitFault, second.code)
	assert.Contains(t, second.stderr, "is in use by another lotwright")
	copied := filepath.Join(t.TempDir(), "copy.db")
	backup := run(t, "", "backup", "--data", k.folder, copied)
	require.Equal(t, cli.ExitOK, backup.code, backup.stderr)
	k.stop()

	k.start()
	end := k.finish("elm")
	assert.Equal(t, []int32{4, 3, 1}, []int32{end.Finished, end.Designed, end.Invalid})
	assert.Equal(t, want, k.export("elm"))
	k.stop()

	k.folder = t.TempDir()
	require.NoError(t, os.Rename(copied, filepath.Join(k.folder, "lotwright.db")))
	t.Setenv(asProgram, "1") // what was in work when the copy was made is designed apart
	k.start()
	defer k.stop()
	k.finish("elm")
	assert.Equal(t, want, k.export("elm"))
}

func TestBackupOfNothing(t *testing.T) {
	r := run(t, "", "backup", "--data", t.TempDir(), filepath.Join(t.TempDir(), "copy.db"))
	assert.Equal(t, cli.ExitFault, r.code)
	r = run(t, "", "backup", filepath.Join(t.TempDir(), "copy.db"))
	assert.Equal(t, cli.ExitUsage, r.code)
}
