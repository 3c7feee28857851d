//go:build postgis

package queue_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/queue"
	"lotwright/server/store"
	"lotwright/server/store/postgis"
	"lotwright/server/store/postgistest"
)

func init() { asProcess = workAsProcess }

// apartLot in the environment is the lot that a process is to design, and no more.
const apartLot = "LOTWRIGHT_TEST_APART"

// deadlyDesign ends the process that designs a deadly lot.
func deadlyDesign(_ context.Context, lot store.Lot, _ []byte) (store.Design, error) {
	if strings.HasPrefix(lot.ID, "deadly") {
		os.Exit(66)
	}
	return store.Design{Status: store.Designed, Content: []byte(lot.ID)}, nil
}

// workAsProcess is a worker, or the process apart that designs one lot.
func workAsProcess() {
	if id := os.Getenv(apartLot); id != "" {
		d, _ := deadlyDesign(context.Background(), store.Lot{ID: id}, nil)
		fmt.Print(string(d.Content))
		os.Exit(0)
	}
	if err := work(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

func work() error {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	s, err := postgis.Open(ctx, os.Getenv(processAddress), postgis.Options{})
	if err != nil {
		return err
	}
	q, err := queue.New(ctx, riverpgxv5.New(s.Pool()), s, queue.Options{
		Workers: 1, ChunkLots: 4, Roll: s, Silence: time.Second, Design: deadlyDesign, Apart: designInChild,
		Failed: func(_ store.Lot, reason string) store.Design {
			return store.Design{Status: store.Failed, Reason: reason}
		},
		Log: slog.New(slog.NewTextHandler(os.Stderr, nil)),
	})
	if err != nil {
		return err
	}
	if err := q.Start(ctx); err != nil {
		return err
	}
	<-ctx.Done()
	return errors.Join(q.Stop(context.WithoutCancel(ctx)), s.Close())
}

func designInChild(ctx context.Context, lot store.Lot, _ []byte) (store.Design, error) {
	child := exec.CommandContext(ctx, os.Args[0])
	child.Env = append(os.Environ(), apartLot+"="+lot.ID)
	out, err := child.Output()
	if err != nil {
		return store.Design{}, errors.Join(queue.ErrDied, err)
	}
	return store.Design{Status: store.Designed, Content: out}, nil
}

// deadlyLots: lots that end every process that designs them cost one
// worker each, whichever it is, and two processes apart; then they have failed,
// and no other lot has.
func deadlyLots(t *testing.T, server *postgistest.Server) {
	f := newFleet(t, server)
	a := f.join(queue.Options{Elsewhere: true, ChunkLots: 4})
	var wg sync.WaitGroup
	deaths := make(chan string, 100)
	ctx, cancel := context.WithCancel(t.Context())
	for range 2 {
		wg.Go(func() { keepUp(ctx, f.address, deaths) })
	}
	startRun(t, a.Store, store.Local, "plain 1", "deadly 1", "plain 2", "plain 3", "plain 4", "plain 5", "plain 6", "plain 7", "deadly 2", "deadly 3")
	o := f.ended(a, store.Local)
	cancel()
	wg.Wait()
	assert.Equal(t, store.Tally{Designed: 7, Failed: 3}, o.Tally)
	designs, err := a.Designs(t.Context(), store.Local, "b", 1, 0, 99)
	require.NoError(t, err)
	for _, d := range designs {
		if strings.HasPrefix(d.Lot, "deadly") {
			assert.Equal(t, "the program ended whenever it designed this lot", d.Reason)
		}
	}
	close(deaths)
	n := 0
	for log := range deaths {
		if n++; n > 3 {
			t.Log(log)
		}
	}
	assert.Equal(t, 3, n, "workers that died")
}

// keepUp starts a worker whenever it has ended, as whoever runs it would.
func keepUp(ctx context.Context, address string, deaths chan<- string) {
	for ctx.Err() == nil {
		var log bytes.Buffer
		p := exec.Command(os.Args[0])
		p.Env, p.Stderr = append(os.Environ(), processAddress+"="+address), &log
		if err := p.Start(); err != nil {
			deaths <- err.Error()
			return
		}
		stop := context.AfterFunc(ctx, func() { _ = p.Process.Signal(syscall.SIGTERM) })
		err := p.Wait()
		stop()
		if ctx.Err() == nil {
			deaths <- fmt.Sprint(err, log.String())
		}
	}
}
