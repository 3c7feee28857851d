//go:build kill

package cli_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"

	pb "lotwright/proto/lotwright/v1"
)

var (
	faultStep = flag.Int("fault-step", 1, "distance of the failures that are tried")
	faultMost = flag.Int("fault-most", 1000, "after how many operations on the disk no more failures are tried")
)

const flushes = "fsync,fdatasync"

// TestNthFailure fails the n-th write, or flush, of the store's files, for n = 1,
// 2, … until there is no n-th any more, while a client imports and designs twenty
// lots. Each time the client gets a clean error or none, the service does not
// crash, nothing it acknowledged is lost, and the next start brings everything to
// the end, with the bytes of a run that nothing befell.
//
// The failures are made by strace, which counts the calls of each thread for
// itself.
func TestNthFailure(t *testing.T) {
	lots := manyLots(t, 20)
	want := undisturbed(t, lots)
	for _, fault := range []struct {
		name, calls, injected string
		began                 bool          // not the first start, which makes the tables
		patience              time.Duration // with a run that gets nowhere; none if it must end
	}{
		{"the disk fails to flush", flushes, "error=EIO:when=%d", false, 0},
		{"the disk fails a write of the first start", "pwrite64", "error=EIO:when=%d", false, 0},
		{"the disk fails a write", "pwrite64", "error=EIO:when=%d", true, 0},
		{"the disk is full from then on", "pwrite64,ftruncate,fallocate", "error=ENOSPC:when=%d+", true, 3 * time.Second},
	} {
		t.Run(fault.name, func(t *testing.T) {
			met, answers := 0, map[string]int{}
			step := *faultStep
			if fault.calls == flushes {
				step = max(1, step/10) // there are so many fewer
			}
			for n := 1; n <= *faultMost; n += step {
				f := &faulted{survivor: &survivor{T: t, victim: restingVictim(t), lots: lots, want: want}, patience: fault.patience}
				if fault.began {
					f.start()
					f.kill()
				}
				injected, answer := f.try(fault.calls, fmt.Sprintf(fault.injected, n))
				if !injected {
					break
				}
				met++
				answers[answer]++
				f.recover()
			}
			t.Logf("%d failures; how the calls up to then were answered: %v", met, answers)
			require.Positive(t, met, "no failure was met")
		})
	}
}

// faulted is a service whose disk fails, with a client that tries everything once.
type faulted struct {
	*survivor
	created, imported, designed bool          // acknowledged
	patience                    time.Duration // with a run that waits for room
}

// try runs the service with failures injected, and says how it answered.
func (f *faulted) try(calls, inject string) (injected bool, answer string) {
	trace := f.log + ".strace"
	p := f.command("strace", "-f", "--seccomp-bpf", "-qq", "-o", trace, "-e", "trace="+calls, "-e", "inject="+calls+":"+inject,
		"-P", f.folder+"/lotwright.db", "-P", f.folder+"/lotwright.db-wal")
	log, err := os.OpenFile(f.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(f.T, err)
	defer log.Close()
	p.Stderr = log
	require.NoError(f.T, p.Start())
	ctx, cancel := context.WithTimeout(f.T.Context(), time.Minute)
	defer cancel()
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = p.Wait() // that it ends by itself is allowed; the log says why
		cancel()
	}()
	err = f.once(ctx)
	require.NotErrorIs(f.T, context.Cause(ctx), context.DeadlineExceeded, "neither an answer nor an end: %s", f.logText())
	select {
	case <-ended:
		require.Contains(f.T, f.logText(), "lotwright: ", "it ended without a reason")
		answer = "ended with its reason"
	default:
		answer = status.Code(err).String()
	}
	_ = syscall.Kill(-p.Process.Pid, syscall.SIGKILL) // unless it has ended
	<-ended
	text, readErr := os.ReadFile(trace)
	require.NoError(f.T, readErr)
	return strings.Contains(string(text), "(INJECTED)"), answer
}

// once makes every call of the scenario, up to the first that fails.
func (f *faulted) once(ctx context.Context) error {
	for !f.ready() {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		time.Sleep(5 * time.Millisecond)
	}
	batches := pb.NewBatchServiceClient(f.connection)
	if _, err := batches.CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: "elm", RequestId: "create"}, grpc.WaitForReady(true)); err != nil {
		return err
	}
	f.created = true
	if _, err := f.send(ctx, batches, 0, f.lots); err != nil {
		return err
	}
	f.imported = true
	if _, err := batches.DesignBatch(ctx, &pb.DesignBatchRequest{Name: victimBatch, Settings: killSettings, RequestId: "design 1"}); err != nil {
		return err
	}
	f.designed = true
	return f.watchOnce(ctx, batches)
}

// watchOnce waits for the end of the run, or for as long as there is patience
// with it.
func (f *faulted) watchOnce(ctx context.Context, batches pb.BatchServiceClient) error {
	if f.patience > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, f.patience)
		defer cancel()
	}
	stream, err := batches.WatchBatch(ctx, &pb.WatchBatchRequest{Name: victimBatch})
	for err == nil {
		var m *pb.WatchBatchResponse
		if m, err = stream.Recv(); err == nil && m.GetEnd() != nil {
			return nil
		}
	}
	return err
}

// recover starts the service on a disk that works and finds what was
// acknowledged; then everything is brought to its end.
func (f *faulted) recover() {
	for _, bad := range []string{"panic", "goroutine ", "fatal error"} {
		require.NotContains(f.T, f.logText(), bad)
	}
	f.start()
	batches := pb.NewBatchServiceClient(f.connection)
	if f.created {
		b, err := batches.GetBatch(f.T.Context(), &pb.GetBatchRequest{Name: victimBatch}, grpc.WaitForReady(true))
		require.NoError(f.T, err, "the batch was acknowledged")
		if f.imported {
			require.Equal(f.T, int32(len(f.lots)), b.Lots, "the lots were acknowledged")
		}
		if f.designed {
			require.Equal(f.T, int32(1), b.Revision, "the run was acknowledged")
		}
	}
	f.importLots()
	f.run()
	f.kill()
}
