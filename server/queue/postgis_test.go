//go:build postgis

package queue_test

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/queue"
	"lotwright/server/store"
	"lotwright/server/store/postgis"
	"lotwright/server/store/postgistest"
)

// fleet is several processes' worth of stores and queues on one database.
type fleet struct {
	*testing.T
	address string

	mu     sync.Mutex
	order  []string
	apart  []string
	hold   chan struct{} // lots "wait" end with it
	waited chan string
}

func newFleet(t *testing.T, server *postgistest.Server) *fleet {
	return &fleet{T: t, address: server.Database(t), hold: make(chan struct{}), waited: make(chan string, 100)}
}

// member is one of them.
type member struct {
	*postgis.Store
	queue *queue.Queue[pgx.Tx]
}

func (f *fleet) join(o queue.Options) member {
	s, err := postgis.Open(f.Context(), f.address, postgis.Options{})
	require.NoError(f, err)
	o.Design, o.Apart, o.Roll, o.Silence = f.design, f.designApart, s, time.Second
	o.Failed = func(_ store.Lot, reason string) store.Design {
		return store.Design{Status: store.Failed, Reason: reason}
	}
	o.Log = slog.New(slog.NewTextHandler(f.Output(), nil))
	q, err := queue.New(f.Context(), riverpgxv5.New(s.Pool()), s, o)
	require.NoError(f, err)
	require.NoError(f, q.Start(f.Context()))
	f.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		assert.NoError(f, q.Stop(ctx))
		assert.NoError(f, s.Close())
	})
	return member{s, q}
}

func (f *fleet) design(ctx context.Context, lot store.Lot, settings []byte) (store.Design, error) {
	f.mu.Lock()
	f.order = append(f.order, lot.ID)
	f.mu.Unlock()
	if strings.HasPrefix(lot.ID, "wait") {
		f.waited <- lot.ID
		select {
		case <-f.hold:
		case <-ctx.Done():
			return store.Design{}, ctx.Err()
		}
	}
	return store.Design{Status: store.Designed, Content: fmt.Appendf(nil, "%s of %s", settings, lot.ID)}, nil
}

func (f *fleet) designApart(ctx context.Context, lot store.Lot, settings []byte) (store.Design, error) {
	f.mu.Lock()
	f.apart = append(f.apart, lot.ID)
	f.mu.Unlock()
	if strings.HasPrefix(lot.ID, "deadly") {
		return store.Design{}, queue.ErrDied
	}
	return f.design(ctx, lot, settings)
}

func (f *fleet) ended(m member, t store.Tenant) (o store.Operation) {
	require.Eventually(f, func() bool {
		var err error
		o, err = m.Operation(f.Context(), t, "o")
		require.NoError(f, err)
		return o.State != store.Running
	}, time.Minute, 10*time.Millisecond)
	return o
}

func TestPostGIS(t *testing.T) {
	server := postgistest.Start(t)
	for name, test := range map[string]func(*testing.T, *postgistest.Server){
		"shared work": sharedWork, "dead worker": deadWorker, "lost answer": lostAnswer, "deadly lots": deadlyLots,
	} {
		t.Run(name, func(t *testing.T) { test(t, server) })
	}
}

// sharedWork: two processes at once have every lot designed once, and
// nobody starves.
func sharedWork(t *testing.T, server *postgistest.Server) {
	f := newFleet(t, server)
	a, b := f.join(queue.Options{Workers: 1, ChunkLots: 2}), f.join(queue.Options{Workers: 1, ChunkLots: 2})
	startRun(t, a.Store, "large", append([]string{"wait 1", "wait 2", "wait 3"}, plain(37)...)...)
	<-f.waited
	<-f.waited // one in each
	startRun(t, b.Store, "small", "small 1", "small 2", "small 3", "small 4", "small 5", "small 6")
	close(f.hold)
	assert.Equal(t, store.Tally{Designed: 40}, f.ended(a, "large").Tally)
	assert.Equal(t, store.Tally{Designed: 6}, f.ended(b, "small").Tally)
	assert.Len(t, f.order, 46, "each lot once")
	assert.Equal(t, 6, amongFirst(6+6+4*2, "small", f.order))
	assert.Empty(t, f.apart)
}

// deadWorker: chunks of a worker that is not heard of are taken over
// soon, the lot it was at apart; a lot that ends whatever designs it has failed.
func deadWorker(t *testing.T, server *postgistest.Server) {
	f := newFleet(t, server)
	a := f.join(queue.Options{Elsewhere: true, ChunkLots: 3})
	startRun(t, a.Store, store.Local, "deadly", "plain 1", "plain 2", "plain 3")
	_, err := a.Pool().Exec(t.Context(), `UPDATE river_job SET state = 'running', attempt = 1, attempted_at = now(), attempted_by = ARRAY['dead'] WHERE (args ->> 'first')::int = 1`)
	require.NoError(t, err)
	began := time.Now()
	b := f.join(queue.Options{Workers: 2, ChunkLots: 3})
	o := f.ended(b, store.Local)
	assert.Equal(t, store.Tally{Designed: 3, Failed: 1}, o.Tally)
	assert.Equal(t, []string{"deadly", "deadly"}, f.apart)
	t.Logf("taken over after %v at a silence of 1s", time.Since(began).Round(10*time.Millisecond))
}

// BenchmarkPostGISLots is what store and queue cost a lot, whose design takes no
// time, with several chunks at work.
func BenchmarkPostGISLots(b *testing.B) {
	s, err := postgis.Open(b.Context(), postgistest.Start(b).Database(b), postgis.Options{})
	require.NoError(b, err)
	defer s.Close()
	content := make([]byte, 40_000) // a usual design
	design := func(context.Context, store.Lot, []byte) (store.Design, error) {
		return store.Design{Status: store.Designed, Content: content}, nil
	}
	q, err := queue.New(b.Context(), riverpgxv5.New(s.Pool()), s, queue.Options{Workers: 4, Roll: s, Design: design, Apart: design,
		Failed: func(store.Lot, string) store.Design { return store.Design{Status: store.Failed} }})
	require.NoError(b, err)
	require.NoError(b, q.Start(b.Context()))
	defer q.Stop(context.Background())
	b.ResetTimer()
	startRun(b, s, store.Local, plain(b.N)...)
	for {
		o, err := s.Operation(b.Context(), store.Local, "o")
		require.NoError(b, err)
		if o.State != store.Running {
			return
		}
		time.Sleep(time.Millisecond)
	}
}

// lostAnswer: a chunk that the database gave to this process, which
// never heard of it, is not lost until the process ends.
func lostAnswer(t *testing.T, server *postgistest.Server) {
	f := newFleet(t, server)
	a := f.join(queue.Options{Workers: 1})
	startRun(t, a.Store, store.Local, "wait")
	<-f.waited
	var self string
	require.NoError(t, a.Pool().QueryRow(t.Context(), `SELECT attempted_by[1] FROM river_job`).Scan(&self))
	close(f.hold)
	f.ended(a, store.Local)
	// The job is made again as if its answer had been lost.
	startRun(t, a.Store, "other", "plain 1")
	f.ended(a, "other")
	_, err := a.Pool().Exec(t.Context(), `INSERT INTO river_job (state, attempt, max_attempts, attempted_at, attempted_by, args, kind)
		SELECT 'running', 1, 100, now(), ARRAY[$1], args, kind FROM river_job LIMIT 1`, self)
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		var open int
		require.NoError(t, a.Pool().QueryRow(t.Context(), `SELECT count(*) FROM river_job WHERE state <> 'completed'`).Scan(&open))
		return open == 0
	}, 20*time.Second, 20*time.Millisecond)
}
